/* given_oracle.h: the oracle's answers in the common shape. */
#ifndef GIVEN_ORACLE_H
#define GIVEN_ORACLE_H

#include "../oracle/oracle.h"
#include "given.h"

/* NULL where the case has more than `bound` joint states. */
given *given_from_oracle(const oc_model *model, oc_case *c, double bound);

#endif

/* complain.h: whether a driver can complain of anything by these rules. */
#ifndef COMPLAIN_H
#define COMPLAIN_H

#include "ringlug.h"

#include <stdbool.h>

/* False, and said on standard error as a fault of the file `rules`, where there
 * is no load and no symptom. */
bool complain_can(const rl_model *model, const char *rules);

#endif

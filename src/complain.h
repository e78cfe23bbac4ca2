/* complain.h: whether a driver can complain of anything by these rules. */
#ifndef COMPLAIN_H
#define COMPLAIN_H

#include "session.h"

/* RL_OK; RL_INPUT, and said as a fault of the rules, where in vehicles drawn from
 * them every load does what it should and no symptom is present; RL_MEMORY. */
rl_status complain_can(const session *s);

#endif

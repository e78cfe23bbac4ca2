/* scopes.h: which variables stand together in a factor of a net.
 *
 * Invariant: belongs to the inference layer: knows tables and nothing of vehicles.
 */
#ifndef RL_SCOPES_H
#define RL_SCOPES_H

#include "infer.h"

int rl_net_factors(const rl_net *net);
/* The variables of a factor; the net's own until the next factor is added. */
const int *rl_net_scope(const rl_net *net, int factor, int *count);

#endif

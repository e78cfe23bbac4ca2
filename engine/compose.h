/* compose.h: the law of a path from the laws of its parts.
 *
 * Given the net's variables what lies outside is independent (absorb.h), so that where
 * the parts of a path hang on different elements outside, the worse of the two
 * follows from the law of each.
 *
 * Invariant: exact, as a probe of the expression would be; or not answered.
 */
#ifndef RL_COMPOSE_H
#define RL_COMPOSE_H

#include "given.h"

/* The law of an expression other than "sound"; false: its parts have no such laws, or share
 * elements outside the net.  Laws of parts are kept by `givens`. */
bool rl_compose(rl_givens *givens, int expr, rl_given *out);

#endif

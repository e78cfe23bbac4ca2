/* cut.h: what separates some of the net's variables from others.
 *
 * Invariant: variables are neighbours that a factor holds together; every way in
 * that graph from the ones to the others leads through a variable of the cut.
 */
#ifndef RL_CUT_H
#define RL_CUT_H

#include "ladder.h"

/* The cut of fewest cells between some variables and those marked in `to`, of several the one
 * nearest to the former.  Those of `barred` are in it only if they are among the former and the latter, or
 * where it would have more than `few` cells and is much smaller with them.  False: it is of too many
 * variables. */
bool rl_cut_find(rl_ladders *ladders, const rl_wanted *from, const bool *to, const rl_wanted *barred, double few, rl_wanted *cut);
/* Marks what hangs together with what is marked in `met`, but for what lies behind some variables; these
 * are not marked themselves. */
void rl_cut_spread(rl_ladders *ladders, bool *met, const rl_wanted *behind);

#endif

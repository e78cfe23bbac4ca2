/* cut.h: what separates some of the net's variables from others.
 *
 * Invariant: variables are neighbours that a factor holds together; every way in
 * that graph from the ones to the others leads through a variable of the cut.
 */
#ifndef RL_CUT_H
#define RL_CUT_H

#include "ladder.h"

/* The cut of fewest cells between some variables and others, of several the one nearest to
 * the former.  Those of `barred`, which follow from the former, are in it only if they are in
 * both, or where it is much smaller with them.  False: it is of too many variables. */
bool rl_cut_find(rl_ladders *ladders, const rl_wanted *from, const rl_wanted *to, const rl_wanted *barred, rl_wanted *cut);

#endif

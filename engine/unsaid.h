/* unsaid.h: the odds of a suspect had one line of a case never been said, for all
 * lines from one network.
 *
 * The network is made with all lines and calibrated twice, with the suspect held at
 * fault and held sound.  A line that was never said leaves other numbers in the
 * same factors; how that changes what all findings come to is known as soon as
 * the few tables above those factors are made again.
 *
 * Invariant: nothing is divided out: without a line something may be possible
 * that was not.
 */
#ifndef RL_UNSAID_H
#define RL_UNSAID_H

#include "work.h"

/* The odds that the element is not sound with each line left out in turn, as if it had never
 * been said: out[i] of line i; NAN where that is not to be had in this way (`others`, a
 * line that does not count, or any line where all this does not serve). */
void rl_unsaid_odds(rl_work *work, const rl_case *c, int element, double *out);

/* Weights of the values of an element's variable that leave it sound, or all but that. */
const double *rl_bench_held(const rl_bench *bench, rl_arena *arena, int element, bool sound);

#endif

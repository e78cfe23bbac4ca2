/* admit.h: which tests are admissible, and what it takes to get at them (design §4).
 *
 * Invariant: a candidate's text is the canonical key of the evidence line that
 * it would become, so that what the case already holds is found by its text.
 */
#ifndef RL_ADMIT_H
#define RL_ADMIT_H

#include "roster.h"
#include "work.h"

/* All admissible tests of the case, minutes filled in, bits not yet. */
void rl_admit_all(rl_candidates *list, rl_arena *arena, const rl_case *c);
/* The sort of the line that a test becomes. */
rl_evidence rl_test_evidence(rl_test_sort sort);
/* The condition under which a behaviour is seen; none for other tests. */
rl_conditions rl_test_conditions(const rl_test *test);
/* Sets the flags of the areas that are open (design §4). */
void rl_areas_open(const rl_case *c, bool *open);

#endif

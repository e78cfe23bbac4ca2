/* advise.h: what each admissible test would tell, in bits (design §4).
 *
 * Invariant: bits are those of the case alone: they do not depend on which tests were
 * asked about before, nor on how many.
 */
#ifndef RL_ADVISE_H
#define RL_ADVISE_H

#include "march.h"

typedef struct rl_adviser rl_adviser;

/* Memory of the work, until the case changes or another adviser is made. */
rl_status rl_adviser_make(rl_adviser **out, rl_case *c, rl_work *work);
const rl_bearings *rl_adviser_bearings(const rl_adviser *adviser);
/* What questions to a wide network may cost in all, in cells; 0: anything. */
void rl_adviser_bound(rl_adviser *adviser, double cells);
/* All tests of this load come one after the other; -1: no more. */
void rl_adviser_together(rl_adviser *adviser, int load);
/* >= 0, or -1: it would take too wide a table. */
double rl_adviser_bits(rl_adviser *adviser, const rl_test *test);
/* Of a drop, a resistance or a supply: what a healthy span or feed and the suspect would read. */
void rl_adviser_ranges(rl_adviser *adviser, rl_test *test);

#endif

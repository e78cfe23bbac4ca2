/* rates.h: the order of tests: by bits per minute, ties by text (design §4).
 *
 * Invariant: rates that differ by rounding alone are equal.
 */
#ifndef RL_RATES_H
#define RL_RATES_H

#include "roster.h"

/* Bits per minute; -1 of what was not worked out. */
double rl_rate_of(double bits, double minutes);
/* Below 0: test x, of rate `left`, goes before y, of rate `right`. */
int rl_rates_compare(double left, const rl_test *x, double right, const rl_test *y);
/* A copy of the tests in their order. */
rl_test *rl_rates_sort(rl_arena *arena, const rl_test *test, int count);

#endif

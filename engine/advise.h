/* advise.h: what each admissible test would tell, in bits (design §4).
 *
 * Invariant: bits are those of the case alone: they do not depend on which tests were
 * asked about before, nor on how many.
 */
#ifndef RL_ADVISE_H
#define RL_ADVISE_H

#include "chain.h"

typedef struct rl_adviser rl_adviser;

enum { RL_TOLD_OUTCOMES = RL_MAX_LEVELS + 2 };
/* What a test's outcome is expected to be: the probability of each outcome, then the entropy of
 * the outcome given all elements, expected; all to one scale.  Linear in what is known of the elements. */
typedef struct rl_told { int outcomes; double expected[RL_TOLD_OUTCOMES + 1]; } rl_told;
/* Bits from sums of such expectations. */
double rl_told_bits(const double *expected, int outcomes);

/* Memory of the work, until the case changes or another adviser is made. */
rl_status rl_adviser_make(rl_adviser **out, rl_case *c, rl_work *work);
/* The same on a calibrated bench that was drawn for tests in this world (of the last occasion), with
 * the memory of these arenas: of the adviser, of one test, of groups. */
typedef struct rl_seats { rl_arena *arena, *scratch, *groups; } rl_seats;
rl_adviser *rl_adviser_on(rl_case *c, const rl_work *work, rl_bench *bench, rl_world *world, const rl_seats *seats);
/* The last occasion, nothing forced by conditions. */
rl_world *rl_adviser_world(const rl_case *c, rl_work *work);
const rl_bearings *rl_adviser_bearings(const rl_adviser *adviser);
/* What questions to a wide network may cost in all, in cells; 0: anything. */
void rl_adviser_bound(rl_adviser *adviser, double cells);
/* All tests of this load come one after the other; -1: no more. */
void rl_adviser_together(rl_adviser *adviser, int load);
/* False: it would take too wide a table. */
bool rl_adviser_told(rl_adviser *adviser, const rl_test *test, rl_told *out);
/* >= 0, or -1: it would take too wide a table. */
double rl_adviser_bits(rl_adviser *adviser, const rl_test *test);
/* Whether a test of the sort has a range: a drop, a resistance or a supply. */
static inline bool rl_test_has_range(rl_test_sort sort)
{
    return sort == RL_TEST_DROP || sort == RL_TEST_RESISTANCE || sort == RL_TEST_SUPPLY;
}
/* Ends of a reading, in scratch memory that the caller gives back; false: too wide. */
bool rl_adviser_ends(rl_adviser *adviser, const rl_test *test, rl_chain_ends *out);
void rl_adviser_ends_told(rl_adviser *adviser, const rl_test *test, const rl_chain_ends *ends, rl_told *out);
/* What a healthy span or feed and the suspect would read, of a test that has a range. */
void rl_adviser_ranges(rl_adviser *adviser, const rl_case *c, rl_test *test);

#endif

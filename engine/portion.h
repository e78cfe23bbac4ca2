/* portion.h: what tests tell where one tree over the whole network cannot say.
 *
 * Everything is parted into boxes of the network for tests: by the regions of a case that was
 * answered region by region, and further by the values of variables, until tables are small
 * enough.  What is expected of a test is the sum of what is expected in each box, weighed by
 * the box's probability.
 *
 * Invariant: boxes do not overlap; bits are exact within what was looked at, and what is
 * left of the probability is known.
 */
#ifndef RL_PORTION_H
#define RL_PORTION_H

#include "advise.h"
#include "likely.h"

/* Cells of the tables of one box, whatever the memory bound allows. */
enum { RL_PORTION_CELLS = 1 << 17 };

/* Sets the bits of the tests, in their own order; -1: too large even so.  Of a case that was
 * answered by one tree, everything is parted; of one answered region by region, what its
 * regions hold.  likely[i] becomes the list of
 * the i-th test's ends, if it has a range.  *share: how much of what the answer holds the bits are of, 1 but for rounding
 * where it was all looked at.  RL_OK; RL_WIDE: nothing could be looked at. */
rl_status rl_portions_tell(rl_case *c, rl_work *work, rl_test **test, int count, rl_likely **likely, double *share);

#endif

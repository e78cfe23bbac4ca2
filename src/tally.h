/* tally.h: mean, median and 90 % of numbers.
 *
 * The median of an even count is the mean of the two in the middle; the 90 % is the
 * smallest number that at least nine tenths of them do not pass (nearest rank).
 */
#ifndef TALLY_H
#define TALLY_H

#include <stddef.h>

typedef struct tally { double mean, median, p90; } tally;

/* Of at least one number; they are added in the order given, and left sorted. */
tally tally_of(double *value, size_t count);
/* The narrowest of 1, 2, 5, 10, 20, 50 … of which `bins` reach `most`. */
double tally_bin(double most, size_t bins);
/* How many of the numbers lie in [low, high). */
size_t tally_within(const double *value, size_t count, double low, double high);

#endif

/* tally.c: mean, median and 90 % of numbers.  Invariant: the result depends on the
 * numbers and their order alone, not on who worked them out. */
#include "tally.h"

#include <assert.h>
#include <stdlib.h>

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return x < y ? -1 : x > y;
}

tally tally_of(double *value, size_t count)
{
    double sum = 0;
    assert(count > 0);
    for (size_t i = 0; i < count; i++)
        sum += value[i];
    qsort(value, count, sizeof *value, ascending);
    size_t rank = count - count / 10;   /* 90 % of the count, rounded up */
    return (tally){
        .mean = sum / (double)count,
        .median = (value[(count - 1) / 2] + value[count / 2]) / 2,
        .p90 = value[rank - 1],
    };
}

double tally_bin(double most, size_t bins)
{
    static const double step[] = { 1, 2, 5 };
    assert(bins > 0);
    for (double ten = 1;; ten *= 10)
        for (size_t i = 0; i < sizeof step / sizeof *step; i++)
            if (step[i] * ten * (double)bins >= most)
                return step[i] * ten;
}

size_t tally_within(const double *value, size_t count, double low, double high)
{
    size_t within = 0;
    for (size_t i = 0; i < count; i++)
        within += value[i] >= low && value[i] < high;
    return within;
}

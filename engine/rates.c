/* rates.c: see rates.h.
 *
 * A rate without its last dozen bits is a whole number that rises with it, so thousands of
 * tests are put in order by its digits, and compared only where these are equal.
 */
#include "rates.h"

#include <assert.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

double rl_rate_of(double bits, double minutes)
{
    if (bits <= 0)
        return bits < 0 ? -1 : 0;   /* not worked out: last */
    return minutes > 0 ? bits / minutes : INFINITY;   /* what takes no time and tells something comes first */
}

/* Of two rates the greater has the greater key, but for what differs by rounding alone. */
static uint64_t key_of(double rate)
{
    enum { DROPPED = 13 };   /* of the 52 that stand behind the first */
    uint64_t bits;
    if (rate < 0)
        return 0;
    memcpy(&bits, &rate, sizeof bits);
    return ((bits + ((uint64_t)1 << (DROPPED - 1))) >> DROPPED) + 1;
}

int rl_rates_compare(double left, const rl_test *x, double right, const rl_test *y)
{
    uint64_t a = key_of(left), b = key_of(right);
    return a != b ? (a > b ? -1 : 1) : strcmp(x->text, y->text);
}

typedef struct rated { uint64_t key; const rl_test *test; } rated;

enum { DIGIT_BITS = 8, DIGITS = 1 << DIGIT_BITS, KEY_BITS = 52 };

static inline unsigned digit_of(uint64_t key, int shift)
{
    return (unsigned)(key >> shift) % DIGITS;
}

/* Orders by one digit, what is greater first, keeping the order of equals. */
static void sort_by_digit(const rated *from, rated *to, int count, int shift)
{
    int start[DIGITS] = {0};
    for (int i = 0; i < count; i++)
        start[digit_of(from[i].key, shift)]++;
    for (int d = DIGITS, before = 0; d-- > 0;) {
        int own = start[d];
        start[d] = before;
        before += own;
    }
    for (int i = 0; i < count; i++)
        to[start[digit_of(from[i].key, shift)]++] = from[i];
}

static int compare_texts(const void *a, const void *b)
{
    const rated *x = a, *y = b;
    return strcmp(x->test->text, y->test->text);
}

/* Tests of equal rates by their text. */
static void sort_ties(rated *order, int count)
{
    for (int first = 0, end; first < count; first = end) {
        for (end = first + 1; end < count && order[end].key == order[first].key;)
            end++;
        if (end - first > 1)
            qsort(&order[first], (size_t)(end - first), sizeof *order, compare_texts);
    }
}

rl_test *rl_rates_sort(rl_arena *arena, const rl_test *test, int count)
{
    rated *order = rl_raw(arena, count + 1, rated), *other = rl_raw(arena, count + 1, rated);
    rl_test *out = rl_raw(arena, count + 1, rl_test);
    for (int i = 0; i < count; i++)
        order[i] = (rated){key_of(rl_rate_of(test[i].bits, test[i].minutes)), &test[i]};
    for (int shift = 0; shift < KEY_BITS; shift += DIGIT_BITS) {
        rated *swap = order;
        sort_by_digit(order, other, count, shift);
        order = other;
        other = swap;
    }
    sort_ties(order, count);
    for (int i = 0; i < count; i++)
        out[i] = *order[i].test;
    return out;
}

/* failing.c: the k-th piece of memory refused, and the numbers that answers hold.
 *
 * Invariant: numbers are compared byte by byte, never nearly.
 */
#include "failing.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

void fail_begin(held *shelf, size_t k, bool for_good)
{
    shelf->asked = 0;
    shelf->fail_at = k;
    shelf->fail_on = for_good;
    shelf->failed = false;
}

bool fail_end(held *shelf)
{
    shelf->fail_at = 0;
    return shelf->failed;
}

void numbers_note(numbers *n, double value)
{
    assert_true(n->count < MOST_NUMBERS);
    n->value[n->count++] = value;
}

void numbers_same(const numbers *want, const numbers *got)
{
    assert_int_equal(want->count, got->count);
    assert_memory_equal(want->value, got->value, want->count * sizeof *want->value);
}

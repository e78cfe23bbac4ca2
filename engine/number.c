/* number.c: exact conversion between decimal text and double.
 *
 * Invariant: a natural is little-endian in limbs of 32 bits without leading
 * zero limbs; LIMBS covers the largest product met (about 5,000 bits: 800
 * digits, or a subnormal's halfway point, times a power of five).
 */
#include "number.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

enum { LIMBS = 200, KEPT = 800, DIGITS_ROOM = 800 };

typedef struct natural {
    int count;
    uint32_t limb[LIMBS];
} natural;

static void natural_set(natural *n, uint64_t value)
{
    n->count = 0;
    for (; value != 0; value >>= 32)
        n->limb[n->count++] = (uint32_t)value;
}

/* n = n * factor + more */
static void natural_scale(natural *n, uint32_t factor, uint32_t more)
{
    uint64_t carry = more;
    for (int i = 0; i < n->count; i++) {
        carry += (uint64_t)n->limb[i] * factor;
        n->limb[i] = (uint32_t)carry;
        carry >>= 32;
    }
    if (carry != 0) {
        assert(n->count < LIMBS);
        n->limb[n->count++] = (uint32_t)carry;
    }
}

static void natural_times_power_of_5(natural *n, int power)
{
    enum { STEP = 13 };
    const uint32_t five_to_step = 1220703125u;
    for (; power >= STEP; power -= STEP)
        natural_scale(n, five_to_step, 0);
    for (; power > 0; power--)
        natural_scale(n, 5, 0);
}

static void natural_shift(natural *n, int bits)
{
    int limbs = bits / 32;
    if (n->count == 0)
        return;
    natural_scale(n, (uint32_t)1 << (bits % 32), 0);
    assert(n->count + limbs <= LIMBS);
    memmove(n->limb + limbs, n->limb, (size_t)n->count * sizeof *n->limb);
    memset(n->limb, 0, (size_t)limbs * sizeof *n->limb);
    n->count += limbs;
}

static int natural_compare(const natural *a, const natural *b)
{
    if (a->count != b->count)
        return a->count < b->count ? -1 : 1;
    for (int i = a->count - 1; i >= 0; i--)
        if (a->limb[i] != b->limb[i])
            return a->limb[i] < b->limb[i] ? -1 : 1;
    return 0;
}

/* Divides by `divisor` and returns the remainder. */
static uint32_t natural_divide(natural *n, uint32_t divisor)
{
    uint64_t rest = 0;
    for (int i = n->count - 1; i >= 0; i--) {
        rest = rest << 32 | n->limb[i];
        n->limb[i] = (uint32_t)(rest / divisor);
        rest %= divisor;
    }
    while (n->count > 0 && n->limb[n->count - 1] == 0)
        n->count--;
    return (uint32_t)rest;
}

/* A decimal as read: digits x 10^exponent. */
typedef struct decimal {
    char digits[KEPT + 1];
    int count;
    int exponent;
} decimal;

/* Beyond any length of text, so that no exponent written can be made up for by digits. */
enum { FAR = 1000000000 };

static void decimal_digit(decimal *d, char digit, bool behind_point)
{
    if (d->count == 0 && digit == '0') {
        d->exponent -= behind_point;
    } else if (d->count < KEPT) {
        d->digits[d->count++] = digit;
        d->exponent -= behind_point;
    } else {
        /* What is cut off counts only as "a little more". */
        if (digit != '0')
            d->digits[KEPT] = '1';
        d->exponent += !behind_point;
    }
}

static int read_exponent(const char *text, const char *end)
{
    bool negative = *text == '-';
    int value = 0;
    if (*text == '-' || *text == '+')
        text++;
    for (; text < end; text++)
        value = value < FAR / 10 ? value * 10 + (*text - '0') : FAR;
    return negative ? -value : value;
}

static void decimal_read(decimal *d, const char *text, const char *end)
{
    bool behind_point = false;
    d->count = 0;
    d->exponent = 0;
    d->digits[KEPT] = '0';
    for (; text < end && *text != 'e' && *text != 'E'; text++) {
        if (*text == '.')
            behind_point = true;
        else
            decimal_digit(d, *text, behind_point);
    }
    if (text + 1 < end)
        d->exponent += read_exponent(text + 1, end);
    if (d->count == KEPT && d->digits[KEPT] != '0') {
        d->count++;
        d->exponent--;
    }
}

static const double powers[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                                1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

/* Both the digits and the power are exact doubles: one rounding, the right one. */
static bool read_short(const decimal *d, double *out)
{
    uint64_t whole = 0;
    if (d->count > 15 || d->exponent < -22 || d->exponent > 22)
        return false;
    for (int i = 0; i < d->count; i++)
        whole = whole * 10 + (uint64_t)(d->digits[i] - '0');
    *out = d->exponent < 0 ? (double)whole / powers[-d->exponent] : (double)whole * powers[d->exponent];
    return true;
}

/* A double a few units in the last place from the decimal. */
static double guess(const decimal *d)
{
    double value = 0;
    int exponent = d->exponent;
    for (int i = 0; i < d->count; i++) {
        if (i < 17)
            value = value * 10 + (d->digits[i] - '0');
        else
            exponent++;
    }
    for (; exponent > 22 && isfinite(value); exponent -= 22)
        value *= 1e22;
    for (; exponent < -22 && value != 0; exponent += 22)
        value /= 1e22;
    return exponent < 0 ? value / powers[-exponent] : value * powers[exponent];
}

/* Sign of decimal - (mantissa x 2^exponent), exactly. */
static int compare_exactly(const decimal *d, uint64_t mantissa, int exponent)
{
    natural left, right;
    natural_set(&left, 0);
    for (int i = 0; i < d->count; i++) {
        if (left.count == 0)
            natural_set(&left, (uint64_t)(d->digits[i] - '0'));
        else
            natural_scale(&left, 10, (uint32_t)(d->digits[i] - '0'));
    }
    natural_set(&right, mantissa);
    natural_times_power_of_5(d->exponent > 0 ? &left : &right, d->exponent > 0 ? d->exponent : -d->exponent);
    int twos = d->exponent - exponent;  /* left x 2^twos against right */
    natural_shift(twos > 0 ? &left : &right, twos > 0 ? twos : -twos);
    return natural_compare(&left, &right);
}

/* value = mantissa x 2^*exponent, mantissa whole. */
static uint64_t take_apart(double value, int *exponent)
{
    enum { LEAST = -1074 };
    double part = frexp(value, exponent);
    *exponent -= 53;
    if (value == 0 || *exponent < LEAST) {
        part = value == 0 ? 0 : ldexp(part, *exponent - LEAST);
        *exponent = LEAST;
    }
    return (uint64_t)ldexp(part, 53);
}

/* Moves `value` by single steps until the decimal is no further than halfway
 * to either neighbour; ties go to the even mantissa. */
static double settle(const decimal *d, double value)
{
    for (;;) {
        int exponent;
        uint64_t mantissa = take_apart(value, &exponent);
        int above = compare_exactly(d, 2 * mantissa + 1, exponent - 1);
        if (above > 0 || (above == 0 && mantissa % 2 == 1)) {
            value = nextafter(value, INFINITY);
            if (isinf(value))
                return value;
            continue;
        }
        if (mantissa == 0)
            return value;
        /* Below a power of two the neighbour is half as far. */
        bool narrow = mantissa == (uint64_t)1 << 52 && exponent > -1074;
        int below = narrow ? compare_exactly(d, 4 * mantissa - 1, exponent - 2)
                           : compare_exactly(d, 2 * mantissa - 1, exponent - 1);
        if (below > 0 || (below == 0 && mantissa % 2 == 0))
            return value;
        value = nextafter(value, 0);
    }
}

rl_number_fault rl_number_read(const char *text, size_t length, double *out)
{
    decimal d;
    const char *end = text + length;
    bool negative = length > 0 && *text == '-';
    assert(length < FAR);
    decimal_read(&d, text + negative, end);
    double value = 0;
    int magnitude = d.count + d.exponent;  /* 10^(magnitude-1) <= value < 10^magnitude */
    if (d.count > 0 && magnitude > 310)
        value = INFINITY;
    else if (d.count > 0 && magnitude > -330 && !read_short(&d, &value))
        value = settle(&d, fmin(guess(&d), 1.7976931348623157e308));
    *out = negative ? -value : value;
    if (isinf(value))
        return RL_NUMBER_LARGE;
    return d.count > 0 && value == 0 ? RL_NUMBER_SMALL : RL_NUMBER_OK;
}

/* All digits of |number|, which has finitely many; returns how many. */
static int all_digits(double number, char *digits, int *exponent)
{
    natural n;
    char backwards[DIGITS_ROOM];
    int count = 0, twos;
    natural_set(&n, take_apart(fabs(number), &twos));
    if (twos > 0)
        natural_shift(&n, twos);
    else
        natural_times_power_of_5(&n, -twos);
    while (n.count > 0) {
        uint32_t nine = natural_divide(&n, 1000000000u);
        for (int i = 0; i < 9; i++, nine /= 10) {
            assert(count < DIGITS_ROOM);
            backwards[count++] = (char)('0' + nine % 10);
        }
    }
    while (backwards[count - 1] == '0')
        count--;
    for (int i = 0; i < count; i++)
        digits[i] = backwards[count - 1 - i];
    *exponent = count + (twos < 0 ? twos : 0);
    return count;
}

void rl_number_digits(double number, int count, char *digits, int *exponent)
{
    char all[DIGITS_ROOM];
    assert(isfinite(number) && number != 0 && count >= 1 && count <= RL_NUMBER_MOST);
    int have = all_digits(number, all, exponent);
    for (int i = 0; i < count; i++)
        digits[i] = i < have ? all[i] : '0';
    if (have <= count || all[count] < '5')
        return;
    int i = count - 1;
    while (i >= 0 && digits[i] == '9')
        digits[i--] = '0';
    if (i >= 0) {
        digits[i]++;
    } else {
        digits[0] = '1';
        ++*exponent;
    }
}

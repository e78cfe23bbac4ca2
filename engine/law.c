/* law.c: masses and medians of log-normal laws of resistance, cut to bins.
 *
 * Invariant: both tails keep their relative accuracy: differences are taken
 * on the side where the numbers are small, and narrow bins are integrated
 * instead.  A law of log_spread 0 is a point mass at its median, and bins are
 * [low, high).
 */
#include "model.h"

#include <assert.h>
#include <math.h>

#define SQRT_HALF 0.70710678118654752440
#define DENSITY_AT_0 0.39894228040143267794 /* 1 / sqrt(2 pi) */

/* Gauss-Legendre on [-1, 1], eight points, the positive half. */
static const double gauss_node[4] = {
    0.18343464249564980494, 0.52553240991632898582, 0.79666647741362673959, 0.96028985649753623168
};
static const double gauss_weight[4] = {
    0.36268378337836198297, 0.31370664587788728734, 0.22238103445337447054, 0.10122853629037625915
};

static double density(double z)
{
    return DENSITY_AT_0 * exp(-0.5 * z * z);
}

static double integral(double a, double b)
{
    double middle = 0.5 * (a + b), half = 0.5 * (b - a), sum = 0;
    for (int i = 0; i < 4; i++)
        sum += gauss_weight[i] * (density(middle - half * gauss_node[i]) + density(middle + half * gauss_node[i]));
    return sum * half;
}

/* P(a <= Z < b).  A difference of tails loses digits only where the tail
 * hardly falls between a and b; there the density is all but constant. */
static double normal_between(double a, double b)
{
    if (!(a < b))
        return 0;
    if (a + b < 0)
        return normal_between(-b, -a);
    if (b - a < 0.25 && b * (b - a) < 1)
        return integral(a, b);
    if (a < 0)
        return 1 - 0.5 * erfc(-a * SQRT_HALF) - 0.5 * erfc(b * SQRT_HALF);
    return 0.5 * (erfc(a * SQRT_HALF) - erfc(b * SQRT_HALF));
}

static double standard(rl_law law, double r)
{
    if (r <= 0)
        return -INFINITY;
    return isinf(r) ? INFINITY : log(r / law.median) / law.log_spread;
}

double rl_law_mass(rl_law law, double low, double high)
{
    assert(low >= 0 && law.log_spread >= 0);
    if (law.median <= 0)
        return 0;
    if (law.log_spread == 0)
        return low <= law.median && law.median < high;
    return normal_between(standard(law, low), standard(law, high));
}

/* The z that halves the mass of [a, b]: Newton's steps, kept in a bracket. */
static double halfway(double a, double b)
{
    assert(a < b);
    double low = fmax(a, -40), high = fmin(b, 40);
    double z = fmin(fmax(0, low), high);
    for (int i = 0; i < 200 && low < high; i++) {
        double left = normal_between(a, z), right = normal_between(z, b);
        if (left < right)
            low = z;
        else
            high = z;
        double next = z + (right - left) / (2 * density(z));
        if (!(next > low && next < high))
            next = 0.5 * (low + high);
        if (fabs(next - z) <= 1e-16 * fmax(1, fabs(z)))
            return next;
        z = next;
    }
    return z;
}

double rl_law_cut_median(rl_law law, double low, double high)
{
    assert(low >= 0 && low < high && law.median > 0);
    if (rl_law_mass(law, low, high) > 0) {
        if (law.log_spread == 0)
            return law.median;
        double z = halfway(standard(law, low), standard(law, high));
        return fmin(fmax(law.median * exp(law.log_spread * z), low), high);
    }
    return law.median < low ? low : high;   /* no mass: the edge nearest to the median */
}

/* reading.h: what a meter shows, given what it is held against (design §3).
 *
 * Invariant: pure functions of their arguments; nothing of the vehicle is
 * known here, only laws in ohm and volt.  Relative error of a density (above
 * 1e-300) and of rl_reading_below at most 1e-8; of a band's probability 1e-8
 * where it is above 1e-6, and 1e-9 absolute elsewhere.  That is as far as
 * doubles carry: a sigma of under 1e-7 of V has lost its digits in V already.
 */
#ifndef RL_READING_H
#define RL_READING_H

#include <stdbool.h>

/* U over a way: U = base + sum scale_i * exp(log_spread_i * Z) with one
 * standard normal Z for all terms (a sound way), or
 * U = base + scale * X, X log-normal(median, log_spread) cut to [low, high]
 * (an element counts).  Units: V when scale is current x ohm, ohm when all currents are 1. */
typedef enum rl_true_sort { RL_TRUE_FIXED, RL_TRUE_WAY, RL_TRUE_COUNTS } rl_true_sort;
typedef struct rl_term { double scale, log_spread; } rl_term;
typedef struct rl_true {
    rl_true_sort sort;
    double base;
    int terms;                 /* RL_TRUE_WAY */
    const rl_term *term;
    double scale;              /* RL_TRUE_COUNTS: factor of X */
    double median, log_spread; /* log_spread 0: X is its median */
    double low, high;          /* 0 and INFINITY: not cut; of mass below 1e-12: X is the edge nearest to the median */
} rl_true;

/* How U becomes what stands at the meter, V(U). */
typedef enum rl_view_sort {
    RL_VIEW_PLAIN,             /* V = U (drop with `at`; resistance) */
    RL_VIEW_DROP,              /* V = source * U / (U + nominal) */
    RL_VIEW_SUPPLY             /* V = source * nominal / (U + nominal) */
} rl_view_sort;
typedef struct rl_view { rl_view_sort sort; double source, nominal; } rl_view;   /* nominal > 0 but for PLAIN */

/* sigma^2 = (share V + plus)^2 + (supply_spread V)^2; plus > 0 */
typedef struct rl_error { double share, plus, supply_spread; } rl_error;

/* E[ N(v; V(U), sigma(V)) ] */
double rl_reading_density(const rl_true *u, rl_view view, rl_error error, double v);
/* E[ P(band) ] for each of edges + 1 bands, the first from -inf, the last to +inf. */
void rl_reading_bands(const rl_true *u, rl_view view, rl_error error, int edges, const double *edge, double *out);
/* P(U < limit), in closed form. */
double rl_reading_below(const rl_true *u, double limit);
/* The value of V(U) + meter error that a share p of readings stays under, to 1e-6 relative. */
double rl_reading_quantile(const rl_true *u, rl_view view, rl_error error, double p);
/* The natural LOGARITHM of the normal density (never underflows): take exp() for the density itself. */
double rl_normal_density(double x, double mean, double sigma);
double rl_normal_below(double x);   /* Phi(x), relative accuracy in both tails */

/* Conductors: ohm of `length` m of copper of `area` mm2 at 20 C; mm2 of AWG n (0000 is -3). */
double rl_conductor_ohm(double area, double length);
double rl_awg_area(double n);

#endif

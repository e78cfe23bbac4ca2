/* quadrature.h: integrals of smooth functions over an interval.
 *
 * Invariant: a function of the line that has died away at both ends takes the
 * trapezium rule (rl_quad_line), one that is cut off takes panels of
 * Gauss-Legendre (rl_quad_panels); both refine until they agree with
 * themselves.  Gauss-Hermite (rl_quad_normal) does not: its caller has to know
 * how many nodes do.  None takes memory.
 */
#ifndef RL_QUADRATURE_H
#define RL_QUADRATURE_H

/* Two integrands are summed at once, for where they share their dear parts. */
typedef struct rl_pair { double first, second; } rl_pair;
typedef rl_pair (*rl_integrand)(const void *what, double x);

/* Over [low, high], cut first into `panels`; a panel is halved while its last
 * two Legendre coefficients, as parts of the integral, exceed `tolerance`.
 * Coefficients of an analytic function fall geometrically and the rule is
 * exact to twice their degree: the error is near the square of what was left. */
rl_pair rl_quad_panels(rl_integrand f, const void *what, double low, double high, int panels, double tolerance);

/* The same of several integrands at once, one panel to begin with: `write` puts
 * count pairs, and *sum grows by the integrals. */
enum { RL_QUAD_MOST = 16 };
typedef void (*rl_integrands)(const void *what, double x, rl_pair *out);
void rl_quad_many(rl_integrands write, const void *what, int count, double low, double high, double tolerance,
                  rl_pair *sum);

/* Of an integrand that vanishes at and beyond both ends: step halved until the
 * first integral moves by less than 1e-8 of itself (of a plain bell the error squares with each halving, near a steep flank it need not). */
rl_pair rl_quad_line(rl_integrand f, const void *what, double low, double high, double step);

/* Expectation of f(E), E standard normal, by 4, 6, 8, 12, 16 or 24 nodes:
 * exact to degree 2 nodes - 1, for an f that hardly bends within the bell. */
rl_pair rl_quad_normal(rl_integrand f, const void *what, int nodes);
/* f.first, of which the same is true, as the sum of coefficient[k] He_k(E), k < nodes. */
void rl_quad_series(rl_integrand f, const void *what, int nodes, double *coefficient);
/* The part of the expectation of such a sum where low < E < high, which has that `mass`. */
double rl_series_over(const double *coefficient, int terms, double mass, double low, double high);

#endif

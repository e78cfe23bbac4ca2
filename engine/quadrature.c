/* quadrature.c: Gauss-Legendre panels that check themselves, the trapezium, Gauss-Hermite.
 *
 * Invariant: the estimate that stops a refinement is made of values already
 * taken; no node is spent on checking a panel.
 */
#include "quadrature.h"

#include <assert.h>
#include <math.h>

enum { PAIRS = 8, HERMITE = 6, DEEPEST = 40, HALVINGS = 10 };
#define AGREE 1e-8
#define OWN 1e-9           /* of a panel's own sum: no closer, whatever is asked */

/* The 16-point rule: nodes +-x, weights w, and w times (2k + 1)/2 P_k(x) for
 * k = 14 and 15, which sum to the Legendre coefficients of the integrand. */
typedef struct node { double x, weight, even, odd; } node;
static const node gauss[PAIRS] = {
    { 0.09501250983763744019, 0.1894506104550684963, -0.1090418159576820733, -0.5936159289428018117 },
    { 0.2816035507792589132, 0.1826034150449235889, 0.3058334374396040079, 0.56174614482927911 },
    { 0.4580167776572273863, 0.1691565193950025382, -0.4435406121078920673, -0.5008933497159644381 },
    { 0.6178762444026437484, 0.1495959888165767321, 0.4977022367517182479, 0.4166403770259613652 },
    { 0.7554044083550030339, 0.1246289712555338721, -0.4628447876645263636, -0.3169196177972208307 },
    { 0.8656312023878317439, 0.09515851168249278481, 0.3541214949557947067, 0.2115985306318844377 },
    { 0.9445750230732325761, 0.06225352393864789286, -0.2049354038701399205, -0.1122209124505884013 },
    { 0.9894009349916499326, 0.02715245941175409485, 0.06270545045312346224, 0.03278130486396173942 },
};

/* The 12-point rule of the normal law: nodes +-x and their probabilities. */
typedef struct chance { double x, weight; } chance;
static const chance hermite[HERMITE] = {
    { 0.4444030019441389453, 0.3216643615128299919 },
    { 1.340375197151616722, 0.146967048045329988 },
    { 2.259464451000799124, 0.02911668791236415122 },
    { 3.223709828770097472, 0.002203380687533198866 },
    { 4.271825847932281723, 0.00004837184922590627779 },
    { 5.500901704467747601, 1.499927167637167826e-7 },
};

static rl_pair plus(rl_pair a, rl_pair b)
{
    return (rl_pair){ a.first + b.first, a.second + b.second };
}

static rl_pair times(rl_pair a, double factor)
{
    return (rl_pair){ a.first * factor, a.second * factor };
}

/* One panel; *rest is what its last two coefficients amount to. */
static rl_pair panel_once(rl_integrand f, const void *what, double low, double high, double *rest)
{
    double middle = 0.5 * (low + high), half = 0.5 * (high - low);
    rl_pair sum = { 0, 0 }, even = { 0, 0 }, odd = { 0, 0 };
    for (int i = 0; i < PAIRS; i++) {
        const node *n = &gauss[i];
        rl_pair right = f(what, middle + half * n->x);
        rl_pair left = f(what, middle - half * n->x);
        rl_pair both = plus(right, left);
        sum = plus(sum, times(both, n->weight));
        even = plus(even, times(both, n->even));
        odd = plus(odd, times(plus(right, times(left, -1)), n->odd));
    }
    *rest = half * (fabs(even.first) + fabs(odd.first) + fabs(even.second) + fabs(odd.second));
    return times(sum, half);
}

static rl_pair panel(rl_integrand f, const void *what, double low, double high, double tolerance, int depth)
{
    double rest;
    rl_pair sum = panel_once(f, what, low, high, &rest);
    double enough = fmax(tolerance, OWN * (fabs(sum.first) + fabs(sum.second)));
    if (!(rest > enough) || depth == DEEPEST)
        return sum;
    double middle = 0.5 * (low + high);
    return plus(panel(f, what, low, middle, tolerance, depth + 1),
                panel(f, what, middle, high, tolerance, depth + 1));
}

rl_pair rl_quad_panels(rl_integrand f, const void *what, double low, double high, int panels, double tolerance)
{
    assert(low <= high && panels > 0 && tolerance > 0);
    rl_pair sum = { 0, 0 };
    double width = (high - low) / panels;
    for (int i = 0; i < panels; i++)
        sum = plus(sum, panel(f, what, low + i * width, i + 1 == panels ? high : low + (i + 1) * width, tolerance, 0));
    return sum;
}

static rl_pair row(rl_integrand f, const void *what, double first, double step, int count)
{
    rl_pair sum = { 0, 0 };
    for (int i = 0; i < count; i++)
        sum = plus(sum, f(what, first + i * step));
    return sum;
}

rl_pair rl_quad_line(rl_integrand f, const void *what, double low, double high, double step)
{
    assert(low < high && step > 0);
    int count = (int)ceil((high - low) / step);
    step = (high - low) / count;
    rl_pair sum = times(row(f, what, low, step, count + 1), step);
    for (int i = 0; i < HALVINGS; i++) {
        rl_pair between = times(row(f, what, low + 0.5 * step, step, count), step);
        double moved = fabs(between.first - sum.first);
        sum = times(plus(sum, between), 0.5);
        step *= 0.5;
        count *= 2;
        if (moved <= AGREE * fabs(sum.first))
            break;
    }
    return sum;
}

rl_pair rl_quad_normal(rl_integrand f, const void *what)
{
    rl_pair sum = { 0, 0 };
    for (int i = 0; i < HERMITE; i++)
        sum = plus(sum, times(plus(f(what, hermite[i].x), f(what, -hermite[i].x)), hermite[i].weight));
    return sum;
}

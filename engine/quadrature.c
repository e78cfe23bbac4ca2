/* quadrature.c: Gauss-Legendre panels that check themselves, the trapezium, Gauss-Hermite.
 *
 * Invariant: the estimate that stops a refinement is made of values already
 * taken; no node is spent on checking a panel.
 */
#include "quadrature.h"

#include <assert.h>
#include <math.h>
#include <string.h>

enum { PAIRS = 8, DEEPEST = 40, HALVINGS = 10 };
#define LN_SQRT_TWO_PI 0.91893853320467274178
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

/* Rules of the normal law: nodes +-x and their probabilities. */
typedef struct chance { double x, weight; } chance;
static const chance hermite_4[] = {
    { 0.7419637843027258576, 0.4541241452319315082 },
    { 2.334414218338977239, 0.04587585476806849182 },
};
static const chance hermite_6[] = {
    { 0.6167065901925941522, 0.4088284695560292261 },
    { 1.889175877753710676, 0.08861574604191452748 },
    { 3.324257433552118952, 0.002555784402056246431 },
};
static const chance hermite_8[] = {
    { 0.5390798113513751081, 0.3730122576790773499 },
    { 1.636519042435107999, 0.1172399076617590151 },
    { 2.802485861287541699, 0.009635220120788267187 },
    { 4.144547186125894332, 0.0001126145383753677704 },
};
static const chance hermite_12[] = {
    { 0.4444030019441389453, 0.3216643615128299919 },
    { 1.340375197151616722, 0.146967048045329988 },
    { 2.259464451000799124, 0.02911668791236415122 },
    { 3.223709828770097472, 0.002203380687533198866 },
    { 4.271825847932281723, 0.00004837184922590627779 },
    { 5.500901704467747601, 1.499927167637167826e-7 },
};
static const chance hermite_16[] = {
    { 0.3867606045005573477, 0.2865685212380121226 },
    { 1.163829100554964774, 0.1583383727509496177 },
    { 1.951980345716333464, 0.04728475235401402881 },
    { 2.760245047630701617, 0.007266937601184733366 },
    { 3.600873624171548288, 0.0005259849265739092438 },
    { 4.492955302520011243, 0.00001530003216248727197 },
    { 5.472225705949343088, 1.309473216286822739e-7 },
    { 6.63087819839312848, 1.497814723161839733e-10 },
};
static const chance hermite_24[] = {
    { 0.3173700966294523193, 0.2408701155466403255 },
    { 0.9534219229321090849, 0.1614595128670000865 },
    { 1.593480429816420107, 0.07206936401717832961 },
    { 2.240467851691752362, 0.02112634440896754663 },
    { 2.897728643223313689, 0.003976608929181308642 },
    { 3.569306764073560247, 0.0004647187187793957004 },
    { 4.260383605019905489, 0.0000320950056527459125 },
    { 4.978041374639120335, 1.217659745442581321e-6 },
    { 5.732747175251201148, 2.267461673480641991e-8 },
    { 6.541675005098634441, 1.718664927964858022e-10 },
    { 7.437890666021663109, 3.71497415276239854e-13 },
    { 8.507803519195257205, 9.390193689041956073e-17 },
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

/* One panel of several; what the last two coefficients of the first of each pair amount to. */
static double panel_of_many(rl_integrands write, const void *what, int count, double low, double high, rl_pair *sum)
{
    double middle = 0.5 * (low + high), half = 0.5 * (high - low), rest = 0;
    rl_pair right[RL_QUAD_MOST], left[RL_QUAD_MOST], tail[RL_QUAD_MOST] = { { 0, 0 } };
    for (int k = 0; k < count; k++)
        sum[k] = (rl_pair){ 0, 0 };
    for (int i = 0; i < PAIRS; i++) {
        const node *n = &gauss[i];
        write(what, middle + half * n->x, right);
        write(what, middle - half * n->x, left);
        for (int k = 0; k < count; k++) {
            rl_pair both = plus(right[k], left[k]);
            sum[k] = plus(sum[k], times(both, half * n->weight));
            tail[k].first += n->even * both.first;
            tail[k].second += n->odd * (right[k].first - left[k].first);
        }
    }
    for (int k = 0; k < count; k++)
        rest = fmax(rest, half * (fabs(tail[k].first) + fabs(tail[k].second)));
    return rest;
}

static void many(rl_integrands write, const void *what, int count, double low, double high, double tolerance,
                 int depth, rl_pair *sum)
{
    rl_pair own[RL_QUAD_MOST];
    double rest = panel_of_many(write, what, count, low, high, own);
    if (rest > tolerance && depth < DEEPEST) {
        double middle = 0.5 * (low + high);
        many(write, what, count, low, middle, tolerance, depth + 1, sum);
        many(write, what, count, middle, high, tolerance, depth + 1, sum);
        return;
    }
    for (int k = 0; k < count; k++)
        sum[k] = plus(sum[k], own[k]);
}

void rl_quad_many(rl_integrands write, const void *what, int count, double low, double high, double tolerance,
                  rl_pair *sum)
{
    assert(low <= high && 0 < count && count <= RL_QUAD_MOST && tolerance > 0);
    many(write, what, count, low, high, tolerance, 0, sum);
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

static const chance *rule_of(int nodes)
{
    switch (nodes) {
    case 4: return hermite_4;
    case 6: return hermite_6;
    case 8: return hermite_8;
    case 12: return hermite_12;
    case 16: return hermite_16;
    default: assert(nodes == 24); return hermite_24;
    }
}

rl_pair rl_quad_normal(rl_integrand f, const void *what, int nodes)
{
    const chance *rule = rule_of(nodes);
    rl_pair sum = { 0, 0 };
    for (int i = 0; i < nodes / 2; i++)
        sum = plus(sum, times(plus(f(what, rule[i].x), f(what, -rule[i].x)), rule[i].weight));
    return sum;
}

void rl_quad_series(rl_integrand f, const void *what, int nodes, double *coefficient)
{
    const chance *rule = rule_of(nodes);
    memset(coefficient, 0, (size_t)nodes * sizeof *coefficient);
    for (int i = 0; i < nodes / 2; i++) {
        double x = rule[i].x, right = f(what, x).first, left = f(what, -x).first;
        double even = rule[i].weight * (right + left), odd = rule[i].weight * (right - left);
        double before = 0, now = 1;                    /* He_k(x) / k! */
        for (int k = 0; k < nodes; k++) {
            coefficient[k] += now * (k % 2 == 0 ? even : odd);
            double next = (x * now - before) / (k + 1);
            before = now;
            now = next;
        }
    }
}

/* Of the primitives -He_(k-1) phi of He_k phi, k > 0. */
static double primitive(const double *coefficient, int terms, double x)
{
    double sum = 0, before = 0, now = 1;
    for (int k = 1; k < terms; k++) {
        sum -= coefficient[k] * now;
        double next = x * now - (k - 1) * before;
        before = now;
        now = next;
    }
    return sum * exp(-0.5 * x * x - LN_SQRT_TWO_PI);
}

double rl_series_over(const double *coefficient, int terms, double mass, double low, double high)
{
    double sum = coefficient[0] * mass;
    if (!isinf(high))
        sum += primitive(coefficient, terms, high);
    if (!isinf(low))
        sum -= primitive(coefficient, terms, low);
    return sum;
}

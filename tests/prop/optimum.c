/* optimum.c: see optimum.h.
 *
 * Invariant: a value is that of a state alone, so it is worked out once; a move is
 * looked into only if the minutes that no play can save leave room for a better one.
 */
#include "optimum.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_JOINTS = 4096 };
static const double MOST_WORK = 3e7;     /* states times joints */

static void *take(size_t count, size_t size)
{
    void *piece = calloc(count + 1, size);
    if (piece == NULL)
        abort();
    return piece;
}

/* ---- what there is to do ---- */

static void set_areas(oc_case *c, opt_test *t)
{
    const oc_model *m = c->model;
    int found = 0;
    memset(c->opened, 1, (size_t)m->areas * sizeof *c->opened);
    t->minutes = oc_minutes(c, t->watch);
    t->areas[0] = t->areas[1] = -1;
    for (int a = 0; a < m->areas; a++) {
        c->opened[a] = false;
        if (oc_minutes(c, t->watch) > t->minutes) {
            assert(found < 2);
            t->areas[found++] = a;
        }
        c->opened[a] = true;
    }
    memset(c->opened, 0, (size_t)m->areas * sizeof *c->opened);
}

static bool list_tests(opt_game *g)
{
    int count;
    oc_watch *watch = oc_tests(g->c, &count);
    if (count > OPT_TESTS || g->c->model->areas > OPT_AREAS)
        return false;
    for (int t = 0; t < count; t++) {
        g->test[t] = (opt_test){.watch = &watch[t], .outcomes = oc_outcomes(g->c->model, &watch[t])};
        set_areas(g->c, &g->test[t]);
    }
    g->tests = count;
    for (int a = 0; a < g->c->model->areas; a++)
        g->access[a] = g->c->model->area[a].access;
    return true;
}

/* What the complaint depends on and may be at fault. */
static bool list_mends(opt_game *g, const double *repair)
{
    const oc_model *m = g->c->model;
    bool *on = take((size_t)m->elements, sizeof *on), *all = take((size_t)m->elements, sizeof *all);
    for (int i = 0; i < g->c->findings; i++) {
        oc_depends(g->c, &g->c->finding[i].watch, on);
        for (int e = 0; e < m->elements; e++)
            all[e] = all[e] || on[e];
    }
    bool fits = true;
    for (int e = 0; e < m->elements && fits; e++) {
        if (!all[e] || m->element[e].prior[RL_SOUND] >= 1)
            continue;
        fits = g->mends < OPT_MENDS;
        if (fits)
            g->mend[g->mends++] = (opt_mend){e, m->element[e].area, repair[e]};
    }
    free(on);
    free(all);
    return fits;
}

/* ---- joint states ---- */

static unsigned faulty_mends(const opt_game *g, const oc_joint *j)
{
    unsigned faulty = 0;
    for (int i = 0; i < g->mends; i++)
        faulty |= (unsigned)(j->state[g->mend[i].element] != RL_SOUND) << i;
    return faulty;
}

/* Adds a joint state that a fault explains, with what each test shows in it. */
static void put_joint(opt_game *g, const oc_joint *j, double p)
{
    unsigned faulty = faulty_mends(g, j);
    for (int i = 0; i < g->c->findings; i++)
        p *= oc_likelihood(g->c, &g->c->finding[i], j);
    if (!(p > 0) || faulty == 0)
        return;
    if (g->joints < MOST_JOINTS) {
        g->weight[g->joints] = p;
        g->faulty[g->joints] = faulty;
        for (int t = 0; t < g->tests; t++)
            oc_distribution(g->c, g->test[t].watch, j, &g->test[t].row[g->joints * OC_OUTCOMES]);
    }
    g->joints++;
}

static void visit(opt_game *g, oc_joint *j, int e, double p)
{
    const oc_model *m = g->c->model;
    if (!(p > 0))
        return;
    if (e == m->elements) {
        put_joint(g, j, p);
        return;
    }
    const oc_element *el = &m->element[e];
    for (int s = RL_SOUND; s < RL_STATES; s++) {
        j->state[e] = (rl_state)s;
        for (int b = 0; b < (s == RL_CORRODED ? m->bins : 1); b++)
            for (unsigned active = 0; active < (s == RL_LOOSE ? 2u : 1u); active++) {
                j->bin[e] = b;
                j->active[e] = active;
                double part = s == RL_CORRODED ? el->bin[b] : s == RL_LOOSE ? (active ? 1 - el->quiet : el->quiet) : 1;
                visit(g, j, e + 1, p * el->prior[s] * part);
            }
    }
}

static void enumerate(opt_game *g)
{
    size_t elements = (size_t)g->c->model->elements;
    oc_joint j = {take(elements, sizeof *j.state), take(elements, sizeof *j.bin), take(elements, sizeof *j.active)};
    g->weight = take(MOST_JOINTS, sizeof *g->weight);
    g->faulty = take(MOST_JOINTS, sizeof *g->faulty);
    for (int t = 0; t < g->tests; t++)
        g->test[t].row = take((size_t)MOST_JOINTS * OC_OUTCOMES, sizeof *g->test[t].row);
    visit(g, &j, 0, 1);
    free(j.state);
    free(j.bin);
    free(j.active);
}

static double sum_of(const double *weight, int joints)
{
    double sum = 0;
    for (int i = 0; i < joints; i++)
        sum += weight[i];
    return sum;
}

opt_fit opt_begin(opt_game *g, oc_case *c, const double *repair)
{
    *g = (opt_game){.c = c, .states = 1};
    assert(c->occasions == 1);
    if (!list_tests(g) || !list_mends(g, repair))
        return OPT_TOO_LARGE;
    enumerate(g);
    double states = 1;
    for (int t = 0; t < g->tests; t++)
        states *= g->test[t].outcomes + 1;
    states *= (double)(1u << g->mends);
    if (g->joints > MOST_JOINTS || states * g->joints > MOST_WORK) {
        opt_end(g);
        return OPT_TOO_LARGE;
    }
    double sum = sum_of(g->weight, g->joints);
    for (int i = 0; i < g->joints; i++)
        g->weight[i] /= sum;
    g->states = (size_t)states;
    g->value = take(g->states, sizeof *g->value);
    for (size_t i = 0; i < g->states; i++)
        g->value[i] = -1;
    return OPT_FITS;
}

void opt_end(opt_game *g)
{
    for (int t = 0; t < g->tests; t++)
        free(g->test[t].row);
    free(g->weight);
    free(g->faulty);
    free(g->value);
}

opt_state opt_start(const opt_game *g)
{
    opt_state s = {.mended = 0};
    for (int t = 0; t < g->tests; t++)
        s.outcome[t] = -1;
    return s;
}

/* ---- moves ---- */

static double access_to(const opt_game *g, const opt_state *s, int area)
{
    return area >= 0 && !(s->open >> area & 1u) ? g->access[area] : 0;
}

double opt_test_minutes(const opt_game *g, const opt_state *s, int test)
{
    const opt_test *t = &g->test[test];
    return t->minutes + access_to(g, s, t->areas[0]) + access_to(g, s, t->areas[1]);
}

double opt_mend_minutes(const opt_game *g, const opt_state *s, int mend)
{
    return g->mend[mend].minutes + access_to(g, s, g->mend[mend].area);
}

static void open_area(opt_state *s, int area)
{
    if (area >= 0)
        s->open |= 1u << area;
}

double opt_after_outcome(const opt_game *g, const opt_state *s, const double *weight, int test, int outcome,
                         opt_state *next, double *out)
{
    const opt_test *t = &g->test[test];
    assert(s->outcome[test] < 0);
    *next = *s;
    next->outcome[test] = outcome;
    open_area(next, t->areas[0]);
    open_area(next, t->areas[1]);
    for (int i = 0; i < g->joints; i++)
        out[i] = weight[i] * t->row[i * OC_OUTCOMES + outcome];
    return sum_of(out, g->joints) / sum_of(weight, g->joints);
}

double opt_after_mend(const opt_game *g, const opt_state *s, const double *weight, int mend, opt_state *next,
                      double *out)
{
    assert(!(s->mended >> mend & 1u));
    *next = *s;
    next->mended |= 1u << mend;
    open_area(next, g->mend[mend].area);
    for (int i = 0; i < g->joints; i++)
        out[i] = g->faulty[i] >> mend & 1u ? 0 : weight[i];
    return sum_of(out, g->joints) / sum_of(weight, g->joints);
}

/* ---- the best of them ---- */

static size_t number_of(const opt_game *g, const opt_state *s)
{
    size_t number = s->mended;
    for (int t = 0; t < g->tests; t++)
        number = number * (size_t)(g->test[t].outcomes + 1) + (size_t)(s->outcome[t] + 1);
    assert(number < g->states);
    return number;
}

/* Minutes to a cure if the faults were known: no play does better. */
static double least(const opt_game *g, const opt_state *s, const double *weight)
{
    double sum = 0, all = 0;
    for (int i = 0; i < g->joints; i++) {
        double best = INFINITY;
        for (int m = 0; m < g->mends && weight[i] > 0; m++)
            if (g->faulty[i] >> m & 1u)
                best = fmin(best, opt_mend_minutes(g, s, m));
        sum += weight[i] > 0 ? weight[i] * best : 0;
        all += weight[i];
    }
    return sum / all;
}

static double try_test(opt_game *g, const opt_state *s, const double *weight, int test, double best)
{
    double minutes = opt_test_minutes(g, s, test);
    double *belief = take((size_t)g->joints, sizeof *belief);
    opt_state next;
    double bound = minutes;
    for (int o = 0; o < g->test[test].outcomes; o++) {
        double p = opt_after_outcome(g, s, weight, test, o, &next, belief);
        bound += p > 0 ? p * least(g, &next, belief) : 0;
    }
    for (int o = 0; o < g->test[test].outcomes && bound < best; o++) {
        double p = opt_after_outcome(g, s, weight, test, o, &next, belief);
        minutes += p > 0 ? p * opt_value(g, &next, belief) : 0;
    }
    free(belief);
    return bound < best ? minutes : INFINITY;
}

static double try_mend(opt_game *g, const opt_state *s, const double *weight, int mend, double best)
{
    double minutes = opt_mend_minutes(g, s, mend);
    double *belief = take((size_t)g->joints, sizeof *belief);
    opt_state next;
    double p = opt_after_mend(g, s, weight, mend, &next, belief);
    if (p > 0 && minutes + p * least(g, &next, belief) < best)
        minutes += p * opt_value(g, &next, belief);
    else if (p > 0)
        minutes = INFINITY;
    free(belief);
    return minutes;
}

double opt_value(opt_game *g, const opt_state *s, const double *weight)
{
    size_t number = number_of(g, s);
    if (g->value[number] >= 0)
        return g->value[number];
    double best = INFINITY;
    for (int m = 0; m < g->mends; m++)
        if (!(s->mended >> m & 1u))
            best = fmin(best, try_mend(g, s, weight, m, best));
    for (int t = 0; t < g->tests; t++)
        if (s->outcome[t] < 0)
            best = fmin(best, try_test(g, s, weight, t, best));
    assert(isfinite(best));
    g->value[number] = best;
    return best;
}

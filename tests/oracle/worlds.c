/* worlds.c: the enumeration: every joint state of what the findings touch,
 * with every activity in every occasion, weighed by prior and likelihood.
 *
 * Invariant: `table` holds, for each joint state as the last occasion sees it
 * (activities of earlier occasions summed out), its share of P(findings);
 * every answer is a sum over it.  Elements that nothing touches keep priors.
 */
#include "inside.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_OPTIONS = 4 + OC_BINS + (1 << OC_OCCASIONS), MOST_ON = 64 };

/* One thing an element may be. */
typedef struct option { rl_state state; int bin; unsigned active; double p; int slot; } option;
/* `state` by slot: sound first, then what there is. */
typedef struct choice { int element, options, slots; option *option; rl_state state[4 + OC_BINS]; } choice;

typedef struct world {
    oc_case *c;
    choice on[MOST_ON];            /* the elements that findings touch */
    int count;
    const oc_finding **due[MOST_ON + 1];   /* findings that can be weighed once so many are set */
    int dues[MOST_ON + 1];
    oc_joint joint;
    size_t cells;
    double *table;
} world;

/* ---- what an element may be ---- */

static void put_option(choice *k, option o)
{
    if (!(o.p > 0))
        return;
    assert(k->options < MOST_OPTIONS);
    k->option[k->options++] = o;
}

static double pattern_p(double quiet, unsigned pattern, int occasions)
{
    double p = 1;
    for (int o = 0; o < occasions; o++)
        p *= (pattern >> o & 1u) != 0 ? 1 - quiet : quiet;
    return p;
}

/* Numbers the slots that are needed from 0, that of sound. */
static void close_ranks(choice *k)
{
    int number[4 + OC_BINS];
    for (int slot = 0; slot < 4 + OC_BINS; slot++)
        number[slot] = -1;
    number[0] = 0;
    k->slots = 1;
    for (int i = 0; i < k->options; i++) {
        option *o = &k->option[i];
        if (number[o->slot] < 0) {
            k->state[k->slots] = o->state;
            number[o->slot] = k->slots++;
        }
        o->slot = number[o->slot];
    }
}

/* Slots: sound, loose and quiet in the last occasion, active, bins, open; of a load sound, failed. */
static void fill_choice(const oc_case *c, choice *k, int e, int occasions)
{
    const oc_model *m = c->model;
    const oc_element *el = &m->element[e];
    k->element = e;
    k->option = rl_many(&c->model->arena, MOST_OPTIONS, option);
    put_option(k, (option){RL_SOUND, 0, 0, el->prior[RL_SOUND], 0});
    if (el->sort == RL_LOAD) {
        put_option(k, (option){RL_FAILED, 0, 0, el->prior[RL_FAILED], 1});
        close_ranks(k);
        return;
    }
    for (unsigned a = 0; a < 1u << occasions; a++) {
        /* one occasion asked for: it is the last, whatever its number */
        unsigned active = occasions == 1 ? a << (c->occasions - 1) : a;
        int slot = 1 + (int)(active >> (c->occasions - 1) & 1u);
        put_option(k, (option){RL_LOOSE, 0, active, el->prior[RL_LOOSE] * pattern_p(el->quiet, a, occasions), slot});
    }
    for (int b = 0; b < m->bins; b++)
        put_option(k, (option){RL_CORRODED, b, 0, el->prior[RL_CORRODED] * el->bin[b], 3 + b});
    put_option(k, (option){RL_OPEN, 0, 0, el->prior[RL_OPEN], 3 + m->bins});
    close_ranks(k);
}

static void set(oc_joint *j, int e, const option *o)
{
    j->state[e] = o->state;
    j->bin[e] = o->bin;
    j->active[e] = o->active;
}

static oc_joint new_joint(oc_model *m)
{
    return (oc_joint){rl_many(&m->arena, m->elements, rl_state), rl_many(&m->arena, m->elements, int),
                      rl_many(&m->arena, m->elements, unsigned)};
}

/* ---- the walk ---- */

static void visit(world *w, int depth, double p, size_t cell)
{
    for (int i = 0; i < w->dues[depth] && p > 0; i++)
        p *= oc_likelihood(w->c, w->due[depth][i], &w->joint);
    if (!(p > 0))
        return;
    if (depth == w->count) {
        w->table[cell] += p;
        return;
    }
    const choice *k = &w->on[depth];
    for (int i = 0; i < k->options; i++) {
        set(&w->joint, k->element, &k->option[i]);
        visit(w, depth + 1, p * k->option[i].p, cell * (size_t)k->slots + (size_t)k->option[i].slot);
    }
}

/* The last of the touched elements that the finding depends on, counted from 1. */
static int due_at(const world *w, const oc_finding *f, bool *on)
{
    int at = 0;
    oc_depends(w->c, &f->watch, on);
    for (int i = 0; i < w->count; i++)
        if (on[w->on[i].element])
            at = i + 1;
    return at;
}

static void touch(const oc_case *c, bool *touched, bool *on)
{
    const oc_model *m = c->model;
    for (int i = 0; i < c->findings; i++) {
        if (c->finding[i].replaced)
            continue;
        oc_depends(c, &c->finding[i].watch, on);
        for (int e = 0; e < m->elements; e++)
            touched[e] = touched[e] || on[e];
    }
}

/* False where there are more joint states than the bound. */
static bool prepare(world *w, double bound)
{
    oc_model *m = w->c->model;
    bool *touched = rl_many(&m->arena, m->elements, bool), *on = rl_many(&m->arena, m->elements, bool);
    double joints = 1;
    touch(w->c, touched, on);
    w->cells = 1;
    for (int e = 0; e < m->elements; e++) {
        if (!touched[e])
            continue;
        assert(w->count < MOST_ON);
        choice *k = &w->on[w->count++];
        fill_choice(w->c, k, e, w->c->occasions);
        joints *= k->options > k->slots ? k->options : k->slots;
        if (joints > bound)
            return false;
        w->cells *= (size_t)k->slots;
    }
    for (int d = 0; d <= w->count; d++)
        w->due[d] = rl_many(&m->arena, w->c->findings + 1, const oc_finding *);
    for (int i = 0; i < w->c->findings; i++) {
        const oc_finding *f = &w->c->finding[i];
        int at = f->replaced ? -1 : due_at(w, f, on);
        if (at >= 0)
            w->due[at][w->dues[at]++] = f;
    }
    w->joint = new_joint(m);
    return true;
}

/* ---- sums over the table ---- */

/* Sums out all but the touched elements flagged in `keep`; row-major in their order. */
static double *marginal(const world *w, const bool *keep, size_t *cells)
{
    size_t stride[MOST_ON];
    *cells = 1;
    for (int i = w->count - 1; i >= 0; i--) {
        stride[i] = keep[w->on[i].element] ? *cells : 0;
        if (stride[i] > 0)
            *cells *= (size_t)w->on[i].slots;
    }
    double *out = calloc(*cells, sizeof *out);
    if (out == NULL)
        abort();
    int digit[MOST_ON] = {0};
    size_t to = 0;
    for (size_t cell = 0; cell < w->cells; cell++) {
        out[to] += w->table[cell];
        for (int i = w->count - 1; i >= 0; i--) {
            to += stride[i];
            if (++digit[i] < w->on[i].slots)
                break;
            to -= stride[i] * (size_t)w->on[i].slots;
            digit[i] = 0;
        }
    }
    return out;
}

static void posteriors(const world *w, double total, double (*p)[RL_STATES])
{
    oc_model *m = w->c->model;
    for (int e = 0; e < m->elements; e++)
        memcpy(p[e], m->element[e].prior, sizeof p[e]);
    for (int i = 0; i < w->count; i++) {
        size_t cells;
        bool *keep = rl_many(&m->arena, m->elements, bool);
        keep[w->on[i].element] = true;
        double *row = marginal(w, keep, &cells);
        memset(p[w->on[i].element], 0, sizeof *p);
        for (size_t s = 0; s < cells; s++)
            p[w->on[i].element][w->on[i].state[s]] += row[s] / total;
        free(row);
    }
}

static int group_of(rl_sort sort)
{
    return sort == RL_FEED ? 1 : sort == RL_LOAD ? 2 : 0;
}

/* P(all elements of the groups in the mask are sound). */
static double all_sound(const world *w, unsigned mask, double total)
{
    const oc_model *m = w->c->model;
    bool *keep = rl_many(&w->c->model->arena, m->elements, bool);
    double p = 1;
    for (int e = 0; e < m->elements; e++) {
        bool in = (mask >> group_of(m->element[e].sort) & 1u) != 0, touched = false;
        for (int i = 0; i < w->count; i++)
            touched = touched || w->on[i].element == e;
        keep[e] = in && touched;
        if (in && !touched)
            p *= m->element[e].prior[RL_SOUND];
    }
    size_t cells;
    double *row = marginal(w, keep, &cells);
    p *= row[0] / total;
    free(row);
    return p;
}

/* ---- explanations ---- */

static int by_p(const void *a, const void *b)
{
    double x = ((const oc_explanation *)a)->p, y = ((const oc_explanation *)b)->p;
    return x < y ? 1 : x > y ? -1 : 0;
}

static void find_suspects(const world *w, oc_answer *out)
{
    const oc_model *m = w->c->model;
    int *suspect = rl_many(&w->c->model->arena, m->elements, int);
    for (int e = 0; e < m->elements; e++) {
        double faulty = 1 - out->p[e][RL_SOUND], before = 1 - m->element[e].prior[RL_SOUND];
        if (faulty >= 0.01 && faulty >= 1.05 * before)
            suspect[out->suspects++] = e;
    }
    out->suspect = suspect;
}

/* The states of all suspects that cell `cell` of their marginal stands for. */
static size_t decode(const world *w, const bool *keep, size_t cell, rl_state *state, int suspects)
{
    size_t code = 0, weight = 1;
    int s = suspects;
    for (int i = w->count - 1; i >= 0; i--) {
        if (!keep[w->on[i].element])
            continue;
        state[--s] = w->on[i].state[cell % (size_t)w->on[i].slots];
        cell /= (size_t)w->on[i].slots;
        code += weight * (size_t)state[s];
        weight *= RL_STATES;
    }
    return code;
}

static void explain(const world *w, double total, oc_answer *out)
{
    oc_model *m = w->c->model;
    bool *keep = rl_many(&m->arena, m->elements, bool);
    size_t codes = 1, cells, n = 0;
    for (int i = 0; i < out->suspects; i++) {
        keep[out->suspect[i]] = true;
        codes *= RL_STATES;
    }
    double *row = marginal(w, keep, &cells);
    oc_explanation *all = rl_many(&m->arena, codes + 1, oc_explanation);
    rl_state *scratch = rl_many(&m->arena, m->elements + 1, rl_state);
    for (size_t i = 0; i < cells; i++)
        all[decode(w, keep, i, scratch, out->suspects)].p += row[i] / total;
    for (size_t code = 0; code < codes; code++) {
        if (!(all[code].p > 0))
            continue;
        rl_state *state = rl_many(&m->arena, out->suspects + 1, rl_state);
        size_t rest = code;
        for (int s = out->suspects - 1; s >= 0; s--, rest /= RL_STATES)
            state[s] = (rl_state)(rest % RL_STATES);
        all[n++] = (oc_explanation){all[code].p, state};
    }
    free(row);
    qsort(all, n, sizeof *all, by_p);
    out->explanation = all;
    out->explanations = n;
}

/* ---- bits ---- */

static double entropy(const double *p, int count)
{
    double sum = 0;
    for (int i = 0; i < count; i++)
        if (p[i] > 0)
            sum -= p[i] * log2(p[i]);
    return sum;
}

/* Walks the test's parents: the touched ones over their joint, the others over their priors. */
typedef struct asking {
    const world *w;
    const oc_watch *test;
    choice parent[MOST_ON];
    int parents, known;            /* the first `known` are touched */
    const double *joint;
    double total;
    double mean[OC_OUTCOMES], inside;
} asking;

static void ask(asking *a, oc_joint *j, int depth, double p, size_t cell)
{
    if (depth == a->known)
        p = a->joint[cell] / a->total;
    if (!(p > 0))
        return;
    if (depth == a->parents) {
        double row[OC_OUTCOMES];
        int n = oc_outcomes(a->w->c->model, a->test);
        oc_distribution(a->w->c, a->test, j, row);
        for (int i = 0; i < n; i++)
            a->mean[i] += p * row[i];
        a->inside += p * entropy(row, n);
        return;
    }
    const choice *k = &a->parent[depth];
    bool seen[4 + OC_BINS] = {false};
    for (int i = 0; i < k->options; i++) {
        const option *o = &k->option[i];
        if (depth < a->known && seen[o->slot])
            continue;
        seen[o->slot] = true;
        set(j, k->element, o);
        ask(a, j, depth + 1, p * (depth < a->known ? 1 : o->p), cell * (size_t)k->slots + (size_t)o->slot);
    }
}

static void find_parents(asking *a, const bool *on, bool *keep)
{
    const world *w = a->w;
    oc_model *m = w->c->model;
    for (int i = 0; i < w->count; i++)
        if (on[w->on[i].element]) {
            keep[w->on[i].element] = true;
            a->parent[a->parents++] = w->on[i];
        }
    a->known = a->parents;
    for (int e = 0; e < m->elements; e++) {
        bool touched = false;
        for (int i = 0; i < w->count; i++)
            touched = touched || w->on[i].element == e;
        if (!on[e] || touched)
            continue;
        assert(a->parents < MOST_ON);
        fill_choice(w->c, &a->parent[a->parents++], e, 1);
    }
}

static double bits(const world *w, const oc_watch *test, double total)
{
    oc_model *m = w->c->model;
    bool *on = rl_many(&m->arena, m->elements, bool), *keep = rl_many(&m->arena, m->elements, bool);
    size_t cells;
    oc_depends(w->c, test, on);
    asking a = {.w = w, .test = test, .total = total};
    find_parents(&a, on, keep);
    double *joint = marginal(w, keep, &cells);
    a.joint = joint;
    oc_joint j = new_joint(m);
    ask(&a, &j, 0, 1, 0);
    free(joint);
    return entropy(a.mean, oc_outcomes(m, test)) - a.inside;
}

static int by_text(const void *a, const void *b)
{
    return strcmp(((const oc_test *)a)->text, ((const oc_test *)b)->text);
}

static void advise(const world *w, double total, oc_answer *out)
{
    oc_watch *watch = oc_tests(w->c, &out->tests);
    oc_test *test = rl_many(&w->c->model->arena, out->tests + 1, oc_test);
    for (int i = 0; i < out->tests; i++)
        test[i] = (oc_test){watch[i].key, out->contradiction ? 0 : bits(w, &watch[i], total),
                            oc_minutes(w->c, &watch[i])};
    qsort(test, (size_t)out->tests, sizeof *test, by_text);
    out->test = test;
}

static void answer(const world *w, double total, oc_answer *out)
{
    double (*p)[RL_STATES] = rl_arena_array(&w->c->model->arena, (size_t)w->c->model->elements, sizeof *p);
    out->log_evidence = log(total);
    posteriors(w, total, p);
    out->p = (const double (*)[RL_STATES])p;
    out->share_return = 1 - all_sound(w, 1, total);
    out->share_feed = 1 - all_sound(w, 2, total);
    out->share_load = 1 - all_sound(w, 4, total);
    out->share_none = all_sound(w, 7, total);
    find_suspects(w, out);
    explain(w, total, out);
}

/* Fills the table; its sum. */
static double enumerate(world *w)
{
    double total = 0;
    w->table = calloc(w->cells, sizeof *w->table);
    if (w->table == NULL)
        abort();
    visit(w, 0, 1, 0);
    for (size_t i = 0; i < w->cells; i++)
        total += w->table[i];
    return total;
}

oc_answer oc_solve(oc_case *c, double bound)
{
    oc_answer out = {0};
    world *w = rl_new(&c->model->arena, world);
    w->c = c;
    if (!prepare(w, bound)) {
        out.wide = true;
        return out;
    }
    double total = enumerate(w);
    out.contradiction = !(total > 0);
    if (!out.contradiction)
        answer(w, total, &out);
    advise(w, total, &out);
    free(w->table);
    return out;
}

size_t oc_case_lines(const oc_case *c, size_t *line, size_t room)
{
    size_t n = 0;
    for (int i = 0; i < c->findings; i++) {
        bool known = c->finding[i].replaced;
        for (size_t k = 0; k < n; k++)
            known = known || line[k] == c->finding[i].line;
        if (known)
            continue;
        assert(n < room);
        line[n++] = c->finding[i].line;
    }
    (void)room;
    return n;
}

double oc_log_evidence_of(oc_case *c, double bound, const size_t *line, size_t lines)
{
    bool replaced[256];
    assert(c->findings <= 256);
    for (int i = 0; i < c->findings; i++) {
        bool in = false;
        for (size_t k = 0; k < lines; k++)
            in = in || line[k] == c->finding[i].line;
        replaced[i] = c->finding[i].replaced;
        c->finding[i].replaced = replaced[i] || !in;
    }
    double log_evidence = oc_log_evidence(c, bound);
    for (int i = 0; i < c->findings; i++)
        c->finding[i].replaced = replaced[i];
    return log_evidence;
}

double oc_log_evidence(oc_case *c, double bound)
{
    world *w = rl_new(&c->model->arena, world);
    w->c = c;
    if (!prepare(w, bound))
        return NAN;
    double total = enumerate(w);
    free(w->table);
    return log(total);
}

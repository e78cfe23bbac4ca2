/* span_limit.c: see span_limit.h.
 *
 * Invariant: answers only where the span has one way.  S2 is a code: which law counts.
 */
#include "span_limit.h"

#include "admit.h"

#include <assert.h>
#include <math.h>
#include <string.h>

void rl_span_limits_make(rl_span_limits *limits, rl_arena *arena, rl_arena *scratch, const rl_bearings *bearings,
                         rl_reaches *reaches)
{
    const rl_case *c = bearings->observer->kase;
    const rl_model *m = c->model;
    *limits = (rl_span_limits){.arena = arena, .scratch = scratch, .model = m, .bearings = bearings,
                               .reaches = reaches, .battery = c->occasion[c->occasions - 1].battery};
    limits->loads = rl_many(arena, m->nodes, int);
    for (int e = 0; e < m->nodes; e++)
        for (int i = 0; i < m->node[e].on_every_count; i++)
            limits->loads[m->node[e].on_every[i]]++;
}

/* ---- the part that is shared ---- */

static int code_for(rl_candidate *code, int *codes, const rl_candidate *fresh)
{
    for (int i = 1; i <= *codes; i++)
        if (rl_candidate_same(&code[i], fresh))
            return i;
    code[++*codes] = *fresh;
    return *codes;
}

/* The codes of the way from its k-th element on. */
static void set_codes(const rl_span_limits *l, const rl_way *way, int k, rl_tail *t)
{
    const rl_frame *frame = l->bearings->observer->frame;
    int count = way->count - k, rows = frame->rows, codes = 0;
    rl_candidate *code = rl_raw(l->arena, count * (frame->bins + 1) + 1, rl_candidate);
    int *of = rl_many(l->arena, count * rows, int);
    for (int i = 0; i < count; i++)
        for (int bin = -1; bin < frame->bins; bin++) {
            int e = way->element[k + i];
            if (bin >= 0 && l->model->node[e].bin_mass[frame->bin[bin]] <= 0)
                continue;   /* cannot be */
            rl_candidate fresh = rl_candidate_make(frame, e, bin, 1);
            of[i * rows + bin + 2] = code_for(code, &codes, &fresh);
        }
    double *value = rl_many(l->arena, codes + 1, double);
    for (int c = 1; c <= codes; c++)
        value[c] = code[c].value;
    for (int i = 1; i <= count; i++)
        of[i * rows - 1] = codes + 1;
    t->codes = (rl_codes){codes, value, of};
    t->code = code;
}

static const rl_tail *make_tail(rl_span_limits *l, const rl_way *way, int k, int to)
{
    const rl_bearings *b = l->bearings;
    rl_tail *t = rl_new(l->arena, rl_tail);
    *t = (rl_tail){.from = way->element[k], .to = to, .next = l->tail};
    l->tail = t;
    set_codes(l, way, k, t);
    int *expr = rl_raw(l->scratch, way->count - k, int);
    for (int i = k; i < way->count; i++)
        expr[i - k] = rl_expr_element(b->observer->exprs, b->world, way->element[i]);
    const double *p = rl_worst_code(b, expr, way->count - k, &t->codes);
    size_t bytes = (size_t)(t->codes.count + 2) * sizeof *p;
    if (p)
        t->p = memcpy(rl_arena_raw(l->arena, bytes), p, bytes);
    return t;
}

static const rl_tail *tail_of(rl_span_limits *l, const rl_way *way, int k, int to)
{
    for (const rl_tail *t = l->tail; t; t = t->next)
        if (t->from == way->element[k] && t->to == to)
            return t;
    return make_tail(l, way, k, to);
}

/* ---- what it shows ---- */

/* The end where a code of the tail counts. */
static rl_end end_of(const rl_span_limits *l, const rl_way *way, const rl_tail *tail, int code, const double *current)
{
    if (code == tail->codes.count + 1)
        return (rl_end){.sort = RL_END_OPEN, .element = -1};
    rl_candidate counts = {.element = -1};
    if (code > 0)
        counts = tail->code[code];
    counts.scale = current[0];
    return rl_way_end(l->scratch, l->model, way, current, code > 0 ? &counts : NULL);
}

/* I(S2; what it alone would show). */
static double shown(const rl_span_limits *l, const rl_test *test, const rl_way *way, const rl_tail *tail)
{
    rl_showing showing = rl_showing_make(l->model, rl_observe_meter(rl_test_evidence(test->sort)), l->battery, false);
    int outcomes = rl_showing_outcomes(&showing);
    double *p = rl_many(l->scratch, outcomes + 1, double), *current = rl_many(l->scratch, way->count, double);
    for (int i = 0; i < way->count; i++)
        current[i] = test->sort == RL_TEST_DROP ? l->model->node[test->subject].info.current : 1;
    for (int c = 0; c < tail->codes.count + 2; c++) {
        if (!(tail->p[c] > 0))
            continue;
        rl_end end = end_of(l, way, tail, c, current);
        const double *row = rl_showing_row(&showing, &end, l->scratch);
        for (int i = 0; i <= outcomes; i++)
            p[i] += tail->p[c] * row[i];
    }
    return fmax(0, rl_entropy(p, outcomes) - p[outcomes]);
}

/* ---- the bound ---- */

static double of_way(rl_span_limits *l, const rl_test *test, const rl_way *way, int to, double stops)
{
    const rl_reach *of = l->reaches->element;
    double own = 0, amiss = 0;
    int k = 0;
    for (; k < way->count && l->loads[way->element[k]] < 2; k++) {
        own += of[way->element[k]].entropy;
        amiss += of[way->element[k]].amiss;
    }
    const rl_tail *tail = k < way->count ? tail_of(l, way, k, to) : NULL;
    if (!tail || !tail->p)
        return INFINITY;
    double flows = stops < 0.5 ? rl_entropy_of_two(stops) : 1;
    return flows + own + fmin(1, amiss) * log2(tail->codes.count + 2) + shown(l, test, way, tail);
}

double rl_span_limit_of(rl_span_limits *l, const rl_test *test, double stops)
{
    rl_stretch stretch;
    bool dead = test->sort != RL_TEST_DROP;
    int to = test->to < 0 && dead ? rl_last_element(l->model, test->subject) : test->to;
    assert(stops >= 0);
    if (rl_stretch_make(l->scratch, l->model, test->subject, test->from, test->to, dead, &stretch) != RL_STRETCH_OK ||
        stretch.ways > 1)
        return INFINITY;
    for (int i = 0; i < stretch.before_count; i++)
        stops += l->reaches->element[stretch.before[i]].shut;
    return of_way(l, test, &stretch.way[0], to, dead ? 0 : stops);
}

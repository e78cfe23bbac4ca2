/* round.c: the drops and inspections of a round before trouble (rl_round_new):
 * what each shows, and the report; round_plan.c chooses among them.
 *
 * Invariant: gains of the report are of what no stop before showed, so that
 * they add up to what is covered.
 */
#include "audit_lab.h"
#include "round_plan.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

struct rl_round {
    rl_context *context;
    rl_arena arena;
    rl_round_report report;
};

typedef struct scout {
    rl_arena *arena, *scratch;
    rl_lab lab;
    rl_candidates tests;
    rl_tour tour;
    double *weight;            /* by fault: prior probability */
    int *element;              /* by fault */
    int faults;
    int *first;                /* by element: its first fault; -1: no return element */
} scout;

/* ---- what a candidate shows ---- */

/* P(a span whose end this is reads more than the limit), the meter being right. */
static double above(const rl_model *m, const rl_end *end, double limit)
{
    double supply = m->vehicle.supply;
    if (end->sort != RL_END_LAW)
        return end->sort == RL_END_OPEN;
    if (!(limit < supply))
        return 0;
    return 1 - rl_reading_below(&end->law, limit * supply / (supply - limit));
}

static double drop_above(scout *p, const rl_trial *t, int element, rl_state state)
{
    double sum = 0;
    rl_detail d = rl_lab_detail(&p->lab, p->scratch, element, state);
    for (int i = 0; i < d.count; i++) {
        p->lab.row[element] = d.row[i];
        rl_end end = rl_trial_end(&p->lab, t);
        sum += d.p[i] * above(p->lab.model, &end, t->test->limit);
    }
    p->lab.row[element] = 0;
    return sum;
}

static double look_other(const scout *p, const rl_test *test, rl_state state)
{
    return 1 - p->lab.model->look[test->named].row[state][0];
}

static double shows_by(scout *p, const rl_trial *t, int element, rl_state state)
{
    if (t->test->sort == RL_TEST_INSPECTION)
        return look_other(p, t->test, state) - look_other(p, t->test, RL_SOUND);
    return drop_above(p, t, element, state) - drop_above(p, t, element, RL_SOUND);
}

static void list_faults(scout *p)
{
    const rl_model *m = p->lab.model;
    int most = 3 * m->nodes + 1;
    p->weight = rl_many(p->arena, most, double);
    p->element = rl_many(p->arena, most, int);
    p->first = rl_many(p->arena, m->nodes, int);
    for (int e = 0; e < m->nodes; e++) {
        const rl_node *node = &m->node[e];
        rl_sort sort = node->info.sort;
        p->first[e] = -1;
        if (sort == RL_LOAD || sort == RL_FEED || (sort == RL_CONNECTOR && !node->in_return))
            continue;
        p->first[e] = p->faults;
        for (int s = RL_LOOSE; s <= RL_OPEN; s++) {
            p->element[p->faults] = e;
            p->weight[p->faults++] = node->info.prior[s];
        }
    }
}

static void add_stop(scout *p, const rl_candidates *tests, int number)
{
    const rl_test *test = &tests->at[number];
    rl_mark before = rl_arena_mark(p->scratch);
    rl_trial t;
    int count = 0;
    rl_trial_make(&p->lab, p->scratch, test, &t);
    rl_shown *list = rl_many(p->scratch, 3 * t.elements + 1, rl_shown);
    for (int i = 0; i < t.elements; i++)
        for (int s = RL_LOOSE; s <= RL_OPEN && p->first[t.element[i]] >= 0; s++) {
            int fault = p->first[t.element[i]] + s - RL_LOOSE;
            double by = p->weight[fault] > 0 ? shows_by(p, &t, t.element[i], (rl_state)s) : 0;
            if (by > RL_TOUR_NOTHING)
                list[count++] = (rl_shown){fault, by};
        }
    if (count > 0) {
        rl_shown *kept = rl_many(p->arena, count, rl_shown);
        memcpy(kept, list, (size_t)count * sizeof *kept);
        p->tour.at[p->tour.count++] = (rl_tour_stop){.number = number, .check = test->check_minutes,
                                                     .areas = {test->areas[0], test->areas[1]},
                                                     .shows = kept, .count = count};
    }
    rl_arena_rewind(p->scratch, before);
}

static int compare_stops(const void *a, const void *b)
{
    const rl_tour_stop *x = a, *y = b;
    for (int i = 0; i < 2; i++)
        if (x->areas[i] != y->areas[i])
            return x->areas[i] < y->areas[i] ? -1 : 1;
    return x->number < y->number ? -1 : x->number > y->number;
}

static void list_stops(scout *p)
{
    p->tour.at = rl_many(p->arena, p->tests.count + 1, rl_tour_stop);
    for (int i = 0; i < p->tests.count; i++)
        if (p->tests.at[i].sort == RL_TEST_DROP || p->tests.at[i].sort == RL_TEST_INSPECTION)
            add_stop(p, &p->tests, i);
    if (p->tour.count > 0)
        qsort(p->tour.at, (size_t)p->tour.count, sizeof *p->tour.at, compare_stops);
}

static void plan(scout *p, double minutes)
{
    const rl_model *m = p->lab.model;
    double *access = rl_many(p->arena, m->areas + 1, double);
    for (int a = 0; a < m->areas; a++)
        access[a] = m->area[a].access;
    p->tour.arena = p->arena;
    p->tour.scratch = p->scratch;
    p->tour.weight = p->weight;
    p->tour.faults = p->faults;
    p->tour.access = access;
    p->tour.areas = m->areas;
    rl_tour_plan(&p->tour, minutes);
}

/* ---- the report ---- */

/* Of two areas the one that is reached later; -1 is before all. */
static int later_area(const rl_model *m, int a, int b)
{
    if (a < 0 || b < 0)
        return a > b ? a : b;
    double x = m->area[a].access, y = m->area[b].access;
    return x > y || (!(x < y) && a > b) ? a : b;
}

/* Whether stop `b` comes before stop `a`: its areas are reached earlier. */
static bool is_before(const rl_model *m, const rl_tour_stop *b, const rl_tour_stop *a)
{
    int of_a = later_area(m, a->areas[0], a->areas[1]), of_b = later_area(m, b->areas[0], b->areas[1]);
    return of_a != of_b && later_area(m, of_a, of_b) == of_a;
}

static void order_by_access(rl_tour *t, const rl_model *m)
{
    for (int i = 1; i < t->picks; i++)
        for (int k = i; k > 0 && is_before(m, &t->at[t->pick[k]], &t->at[t->pick[k - 1]]); k--) {
            int swap = t->pick[k];
            t->pick[k] = t->pick[k - 1];
            t->pick[k - 1] = swap;
        }
}

static double prior_of(const scout *p, int element)
{
    double sum = 0;
    for (int f = p->first[element]; f < p->first[element] + 3; f++)
        sum += p->weight[f];
    return sum;
}

/* Elements of which the stop adds a good part, those it adds most of first. */
static void set_covers(scout *p, const rl_tour_stop *c, rl_arena *arena, rl_stop *stop)
{
    static const double good_part = 0.1;
    size_t *list = rl_many(arena, c->count + 1, size_t);
    double *added = rl_many(p->scratch, p->lab.model->nodes, double), *of = rl_many(p->scratch, c->count + 1, double);
    for (int i = 0; i < c->count; i++) {
        const rl_shown *s = &c->shows[i];
        added[p->element[s->fault]] += p->weight[s->fault] * fmax(0, s->by - p->tour.best[s->fault]);
    }
    for (int i = 0; i < c->count; i++) {
        int e = p->element[c->shows[i].fault];
        double sum = added[e];
        added[e] = 0;   /* each element once */
        if (sum <= RL_TOUR_NOTHING || sum < good_part * prior_of(p, e))
            continue;
        size_t at = stop->count++;
        for (; at > 0 && of[at - 1] < sum; at--) {
            of[at] = of[at - 1];
            list[at] = list[at - 1];
        }
        of[at] = sum;
        list[at] = (size_t)e;
    }
    stop->covers = list;
}

static void set_healthy(scout *p, rl_test *test)
{
    rl_trial t;
    if (test->sort != RL_TEST_DROP)
        return;
    rl_trial_make(&p->lab, p->scratch, test, &t);
    rl_end end = rl_trial_end(&p->lab, &t);
    rl_showing showing = rl_showing_make(p->lab.model, RL_SHOW_DROP, 0, false);
    if (end.sort != RL_END_LAW)
        return;
    test->healthy_low = rl_showing_quantile(&showing, &end.law, 0.05);
    test->healthy_high = rl_showing_quantile(&showing, &end.law, 0.95);
}

static void set_stop(scout *p, const rl_tour_stop *c, rl_arena *arena, rl_stop *stop)
{
    rl_tour *t = &p->tour;
    rl_mark before = rl_arena_mark(p->scratch);
    const rl_test *test = &p->tests.at[c->number];
    *stop = (rl_stop){.test = *test, .gain = rl_tour_gain(t, c, t->best)};
    stop->test.text = rl_arena_copy(arena, test->text, strlen(test->text));
    stop->test.minutes = c->check + rl_tour_access(t, c->areas, t->open);
    for (int i = 0; i < 2; i++)
        if (c->areas[i] >= 0 && t->open[c->areas[i]])
            stop->test.areas[i] = -1;
    set_covers(p, c, arena, stop);
    set_healthy(p, &stop->test);
    rl_tour_open(c->areas, t->open);
    rl_tour_show(c, t->best);
    rl_arena_rewind(p->scratch, before);
}

static void make_report(scout *p, rl_round *round)
{
    rl_round_report *r = &round->report;
    rl_tour *t = &p->tour;
    rl_stop *stop = rl_many(&round->arena, t->picks + 1, rl_stop);
    r->minutes = t->minutes;
    r->covered = rl_tour_covered(t);
    order_by_access(t, p->lab.model);
    rl_tour_reset(t);
    for (int i = 0; i < t->picks; i++)
        set_stop(p, &t->at[t->pick[i]], &round->arena, &stop[i]);
    for (int i = 0; i < t->count; i++)
        rl_tour_show(&t->at[i], t->best);
    r->reachable = rl_tour_covered(t);
    for (int f = 0; f < t->faults; f++)
        r->all += p->weight[f];
    r->stop = stop;
    r->stops = (size_t)t->picks;
}

/* ---- from outside ---- */

static rl_status make_round(rl_round *round, const rl_case *c, double minutes, rl_arena *work, rl_arena *scratch)
{
    jmp_buf bail;
    if (setjmp(bail) != 0)
        return RL_MEMORY;
    round->arena.bail = work->bail = scratch->bail = &bail;
    scout *p = rl_new(work, scout);
    *p = (scout){.arena = work, .scratch = scratch};
    rl_lab_make(&p->lab, work, scratch, c);
    rl_admit_all(&p->tests, work, c);
    list_faults(p);
    list_stops(p);
    plan(p, minutes);
    make_report(p, round);
    round->arena.bail = NULL;
    return RL_OK;
}

rl_status rl_round_new(rl_context *context, const rl_model *model, double minutes, rl_round **out)
{
    rl_allocator memory = context->allocator;
    rl_arena work, scratch;
    rl_case *c;
    *out = NULL;
    if (!(minutes >= 0) || isinf(minutes))
        return RL_USAGE;
    rl_status status = rl_case_new(context, model, "round", &c);
    if (status != RL_OK)
        return status;
    rl_round *round = memory.take(memory.user, sizeof *round);
    rl_arena_init(&work, &memory, 0);
    rl_arena_init(&scratch, &memory, 0);
    status = RL_MEMORY;
    if (round != NULL) {
        *round = (rl_round){.context = context};
        rl_arena_init(&round->arena, &memory, 0);
        status = make_round(round, c, minutes, &work, &scratch);
    }
    rl_arena_free(&scratch);
    rl_arena_free(&work);
    rl_case_free(c);
    if (status == RL_OK)
        *out = round;
    else
        rl_round_free(round);
    return status;
}

const rl_round_report *rl_round_get(const rl_round *round)
{
    assert(round != NULL);
    return &round->report;
}

void rl_round_free(rl_round *round)
{
    if (round == NULL)
        return;
    rl_allocator memory = round->context->allocator;
    rl_arena_free(&round->arena);
    memory.give(memory.user, round);
}

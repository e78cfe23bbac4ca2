/* portion.c: see portion.h.
 *
 * Invariant: the bench is one and the same for all boxes; its net, plan and tree are those of
 * the box at hand, and what is made on them is given back with the box.
 */
#include "portion.h"
#include "bounded.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A box may always have so many cells, however little memory is allowed. */
static const double LEAST_CELLS = 1 << 14;
/* Regions that together hold less than this of the answer change no bits: they are not looked at. */
static const double FAINT = 1e-13;
/* A box that weighs less than this changes no bits by as much as rounding does. */
static const double NEVER = 1e-15;
/* Work is counted in cells met: what a box costs for each of its cells, for each test asked of
 * it, and for each variable to be planned, whether or not it turns out to be too large; and in
 * all before the rest is left. */
static const double PASSES = 12, EACH_TEST = 2000, PLANNED = 20000, MOST_STEPS = 2e10;
/* A box that weighs less has no say in what a reading's likeliest end is. */
static const double LIGHT = 1e-6;
/* How often a box may be parted; values of a variable that it may be parted by. */
enum { MOST_DEPTH = 24, MOST_VALUES = 16 };

typedef struct asked {
    rl_test *test;
    int place;                 /* in the question */
    int outcomes;
    double *sum;               /* as rl_told; NULL: nothing known yet */
    rl_likely *likely;         /* ends of a reading in the boxes that weigh something */
    bool lost;                 /* some box was too large */
} asked;

typedef struct portions {
    rl_case *c;
    rl_work *work;
    rl_arena *arena;           /* of what lasts as long as the question */
    rl_arena *passing;         /* rewound box by box */
    rl_bench bench;
    rl_world *world;
    rl_boxes boxes;
    double most;               /* cells of a box */
    double steps, looked;
    asked *asked;
} portions;

/* ---- one box ---- */

/* Tests of one load stand together. */
static int by_subject(const void *a, const void *b)
{
    const asked *x = a, *y = b;
    if (x->test->subject != y->test->subject)
        return x->test->subject < y->test->subject ? -1 : 1;
    return x->test < y->test ? -1 : x->test > y->test;
}

static void add_told(portions *p, asked *own, const rl_told *told, double weight)
{
    double sum = 0;
    if (!own->sum) {
        own->outcomes = told->outcomes;
        own->sum = rl_many(p->arena, told->outcomes + 1, double);
    }
    assert(own->outcomes == told->outcomes);
    for (int i = 0; i < told->outcomes; i++)
        sum += told->expected[i];
    for (int i = 0; i <= told->outcomes; i++)
        own->sum[i] += told->expected[i] * weight / sum;
}

/* What a test tells, and of a reading its ends; false: too wide. */
static bool ask_one(portions *p, rl_adviser *adviser, asked *own, double weight)
{
    rl_told told;
    rl_chain_ends ends;
    rl_arena *scratch = &p->work->scratch;
    if (weight < LIGHT || !rl_test_has_range(own->test->sort)) {
        if (!rl_adviser_told(adviser, own->test, &told))
            return false;
    } else {
        rl_mark mark = rl_arena_mark(scratch);
        bool known = rl_adviser_ends(adviser, own->test, &ends);
        if (known) {
            rl_adviser_ends_told(adviser, own->test, &ends, &told);
            rl_likely_add(&own->likely, p->arena, rl_adviser_bearings(adviser), own->test, &ends, weight);
        }
        rl_arena_rewind(scratch, mark);
        if (!known)
            return false;
    }
    add_told(p, own, &told, weight);
    return true;
}

/* Asks the tests of the list; those that could not be told are left in it. */
static int ask_all(portions *p, rl_adviser *adviser, int *list, int count, double weight)
{
    int left = 0, subject = -1;
    for (int i = 0; i < count; i++) {
        asked *own = &p->asked[list[i]];
        if (own->test->subject != subject)
            rl_adviser_together(adviser, subject = own->test->subject);
        if (!ask_one(p, adviser, own, weight))
            list[left++] = list[i];
    }
    return left;
}

/* Values that the box leaves, for the bench. */
static const int *const *values_left(portions *p, const rl_box *box)
{
    const int **left = rl_many(p->passing, p->boxes.variables + 1, const int *);
    for (int v = 0; v < p->boxes.variables; v++)
        left[v] = rl_box_values(box, v);
    return left;
}

/* Asks the box for all tests of the list; returns how many are left in it, or -1: the box is too
 * large itself.  Memory of `passing` is the caller's to give back. */
static int ask_box(portions *p, const rl_box *box, int *list, int count)
{
    rl_network *network = &p->bench.network;
    network->net = rl_box_net(p->passing, box);
    network->left = values_left(p, box);
    p->bench.plan = rl_plan_make(p->passing, network->net);
    p->steps += PLANNED * p->boxes.variables;
    if (rl_plan_cells(p->bench.plan) > p->most)
        return -1;
    p->steps += PASSES * rl_plan_cells(p->bench.plan) + EACH_TEST * count;
    p->bench.tree = rl_tree_make(p->passing, network->net, p->bench.plan);
    if (rl_bench_collect(&p->bench) != RL_OK)
        return 0;
    double weight = exp(p->bench.log_evidence - p->work->answer.log_evidence);
    if (weight < NEVER)
        return 0;
    rl_tree_distribute(p->bench.tree);
    rl_seats seats = {p->passing, &p->work->scratch, &p->work->groups};
    rl_mark mark = rl_arena_mark(seats.groups);
    int left = ask_all(p, rl_adviser_on(p->c, p->work, &p->bench, p->world, &seats), list, count, weight);
    rl_arena_rewind(seats.groups, mark);
    return left;
}

/* ---- parting ---- */

static void ask_parted(portions *p, const rl_box *box, int variable, const int *list, int count, int depth);

/* Those of the list that no box was too large for yet: others have no bits whatever else is asked. */
static int still_told(const portions *p, const int *list, int count, int *out)
{
    int outs = 0;
    for (int i = 0; i < count; i++)
        if (!p->asked[list[i]].lost)
            out[outs++] = list[i];
    return outs;
}

/* Asks the tests of the list within the box, parted where that is needed. */
static void ask_within(portions *p, const rl_box *box, const int *list, int count, int depth)
{
    rl_mark mark = rl_arena_mark(p->passing);
    int *left = rl_raw(p->passing, count + 1, int);
    count = still_told(p, list, count, left);
    rl_mark inner = rl_arena_mark(p->passing);
    int lefts = count > 0 ? ask_box(p, box, left, count) : 0;
    int variable = lefts == 0 ? -1 : rl_box_best_part(&p->work->scratch, box, p->bench.plan, MOST_VALUES);
    rl_arena_rewind(p->passing, inner);
    if (lefts != 0)
        ask_parted(p, box, variable, left, lefts < 0 ? count : lefts, depth);
    rl_arena_rewind(p->passing, mark);
}

/* Asks the tests of the list in each box that one value of the variable leaves (-1: they are lost). */
static void ask_parted(portions *p, const rl_box *box, int variable, const int *list, int count, int depth)
{
    bool lost = variable < 0 || depth == MOST_DEPTH || p->steps > MOST_STEPS;
    for (int i = 0; i < count && lost; i++)
        p->asked[list[i]].lost = true;
    for (int i = 0; !lost && i < box->count[variable]; i++) {
        int value = rl_box_values(box, variable)[i];
        rl_mark mark = rl_arena_mark(p->passing);
        rl_box part = rl_box_copy(p->passing, box);
        rl_box_limit(&part, variable, value, value + 1);
        if (rl_box_prune(&part))
            ask_within(p, &part, list, count, depth + 1);
        rl_arena_rewind(p->passing, mark);
    }
}

/* ---- the regions of a bounded answer ---- */

/* Variable of the net for tests that stands for one of the regions' net; -1: there is none like it. */
static int like_variable(const portions *p, const rl_bounded *b, int variable)
{
    for (int i = 0; i < b->elements; i++)
        if (b->variable[i] == variable) {
            int e = b->element[i], base = rl_bench_base(&p->bench, e);
            bool alike = base >= 0 && p->bench.network.mask[base] == rl_bounded_mask(b, e);
            return alike ? rl_network_variable(&p->bench.network, base) : -1;
        }
    return -1;
}

/* The region as a box of the net for tests; false: it holds nothing there. */
static bool box_of(portions *p, const rl_bounded *b, const rl_region *region, const rl_box *whole, rl_box *out)
{
    *out = rl_box_copy(p->passing, whole);
    for (const rl_region *r = region; r; r = r->up)
        if (r->variable >= 0)
            rl_box_limit(out, like_variable(p, b, r->variable), r->low, r->high);
    return rl_box_prune(out);
}

/* The elements that set regions apart are variables of the net. */
static bool *elements_apart(portions *p, const rl_bounded *b)
{
    bool *keep = rl_many(p->arena, p->c->model->nodes, bool);
    for (int i = 0; i < b->done.count; i++)
        for (const rl_region *r = b->done.at[i]; r; r = r->up)
            for (int e = 0; e < b->elements; e++)
                if (r->variable == b->variable[e])
                    keep[b->element[e]] = true;
    return keep;
}

static bool all_alike(const portions *p, const rl_bounded *b)
{
    for (int i = 0; i < b->done.count; i++)
        for (const rl_region *r = b->done.at[i]; r; r = r->up)
            if (r->variable >= 0 && like_variable(p, b, r->variable) < 0)
                return false;
    return true;
}

static int by_weight(const void *a, const void *b)
{
    const rl_region *const *x = a, *const *y = b;
    if ((*x)->log_sum < (*y)->log_sum || (*x)->log_sum > (*y)->log_sum)
        return (*x)->log_sum > (*y)->log_sum ? -1 : 1;
    return 0;
}

/* The heaviest regions first, until what is left is faint or the work allowed is done. */
static void ask_regions(portions *p, const rl_bounded *b, const rl_box *whole, const int *list, int count)
{
    rl_region **region = rl_raw(p->arena, b->done.count + 1, rl_region *);
    double found = rl_bounded_found(b), left = 1;
    memcpy(region, b->done.at, (size_t)b->done.count * sizeof(rl_region *));
    qsort(region, (size_t)b->done.count, sizeof *region, by_weight);
    for (int i = 0; i < b->done.count && left > FAINT && p->steps < MOST_STEPS; i++) {
        rl_mark mark = rl_arena_mark(p->passing);
        rl_box box;
        left -= exp(region[i]->log_sum - found);
        if (box_of(p, b, region[i], whole, &box))
            ask_within(p, &box, list, count, 0);
        rl_arena_rewind(p->passing, mark);
    }
    p->looked = fmin(1, 1 - left);
}

/* ---- the question ---- */

/* The tests are those that a tree of the whole net could not tell: it is parted at once. */
static void ask_whole(portions *p, const rl_box *whole, const int *list, int count)
{
    rl_plan *plan = rl_plan_make(p->passing, rl_box_net(p->passing, whole));
    ask_parted(p, whole, rl_box_best_part(&p->work->scratch, whole, plan, MOST_VALUES), list, count, 0);
}

static double most_cells(const rl_case *c)
{
    size_t bound = c->context->settings.memory_bound;
    double cells = (double)(bound ? bound : (size_t)1 << 30) / (double)sizeof(double);
    return fmin(fmax(cells, LEAST_CELLS), RL_PORTION_CELLS);
}

static rl_status draw(portions *p)
{
    const rl_bounded *b = p->work->bounded;
    p->world = rl_adviser_world(p->c, p->work);
    rl_status status = rl_bench_draw_for_tests(&p->bench, p->arena, &p->work->bench, p->world,
                                               b ? elements_apart(p, b) : NULL);
    if (status != RL_OK)
        return status;
    rl_boxes_make(&p->boxes, p->arena, p->bench.network.net);
    return b && !all_alike(p, b) ? RL_WIDE : RL_OK;
}

static void take_tests(portions *p, rl_test **test, int count, int *list)
{
    p->asked = rl_many(p->arena, count + 1, asked);
    for (int i = 0; i < count; i++) {
        p->asked[i] = (asked){.test = test[i], .place = i};
        list[i] = i;
    }
    qsort(p->asked, (size_t)count, sizeof *p->asked, by_subject);
}

static void give_bits(portions *p, int count, rl_likely **likely)
{
    for (int i = 0; i < count; i++) {
        const asked *own = &p->asked[i];
        own->test->bits = own->sum && !own->lost ? rl_told_bits(own->sum, own->outcomes) : -1;
        likely[own->place] = own->likely;
    }
}

rl_status rl_portions_tell(rl_case *c, rl_work *work, rl_test **test, int count, rl_likely **likely, double *share)
{
    *share = 1;
    if (work->loose)
        return RL_OK;   /* the sets looked at are not asked for tests: none has bits */
    portions *p = rl_new(&work->arena, portions);
    *p = (portions){.c = c, .work = work, .arena = &work->arena, .passing = &work->passes, .most = most_cells(c), .looked = 1};
    int *list = rl_raw(p->arena, count + 1, int);
    take_tests(p, test, count, list);
    rl_status status = draw(p);
    if (status != RL_OK)
        return status;
    rl_mark mark = rl_arena_mark(p->passing);
    rl_box whole = rl_box_whole(p->passing, &p->boxes);
    if (!rl_box_prune(&whole))
        return RL_CONTRADICTION;
    if (work->bounded)
        ask_regions(p, work->bounded, &whole, list, count);
    else
        ask_whole(p, &whole, list, count);
    rl_arena_rewind(p->passing, mark);
    give_bits(p, count, likely);
    *share = p->looked;
    return RL_OK;
}

/* bounded_look.c: looking at a net region by region, where one tree would pass
 * the memory bound (design §4).
 *
 * Some elements, the cut, are taken sound: the net then fits.  Regions part
 * everything by whether an element of the cut is at value 0 (sound, or loose
 * and never active) or at fault; those still too wide are parted further, by
 * values and by more elements.  Regions of few faults come first.  Each is
 * summed exactly by a tree of its own; if all could be, the answer is exact.
 * What is left when the work allowed is done is bounded by ceilings.
 *
 * Invariant: see bounded.h.  The amount of work is counted, not timed: the
 * same case gives the same answer everywhere.
 */
#include "bounded.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* Cells met before the rest is left: a few seconds. */
static const double MOST_STEPS = 1e9;
/* What an elimination costs, in steps for each cell: two passes and the shares. */
static const double PASSES = 12;
/* What a region costs for each variable, whatever its tables. */
static const double HANDLING = 200;
/* What looking for an order in vain costs. */
static const double VAIN_STEPS = 3e7;
/* An order found for the region is often this much better than the whole net's. */
static const double HOPE = 16;
/* Ceilings this far below what was found, in ln, are of no account: they are
 * looked at last, and added to what is neglected if they are not. */
static const double NO_ACCOUNT = 40;
enum { CEILING_CELLS = 8192, FEWEST_REGIONS = 40, MOST_REGIONS = 200000 };

/* ---- regions ---- */

static void regions_add(rl_regions *list, rl_arena *arena, rl_region *region)
{
    if (list->count == list->room) {
        int room = list->room ? list->room * 2 : 64;
        rl_region **more = rl_many(arena, room, rl_region *);
        for (int i = 0; i < list->count; i++)
            more[i] = list->at[i];
        list->at = more;
        list->room = room;
    }
    list->at[list->count++] = region;
}

/* Fewer faults first; of equals the greater ceiling. */
static void push(rl_bounded *b, rl_region *region)
{
    region->rank = (rl_rank){.first = -region->faults, .second = region->ceiling};
    rl_heap_push(&b->open, b->arena, &region->rank);
}

static rl_region *pop(rl_bounded *b)
{
    return (rl_region *)rl_heap_pop(&b->open);
}

bool rl_region_box(const rl_bounded *b, rl_arena *arena, const rl_region *region, rl_box *out)
{
    *out = rl_box_copy(arena, &b->whole);
    for (const rl_region *r = region; r; r = r->up)
        if (r->variable >= 0)
            rl_box_limit(out, r->variable, r->low, r->high);
    return rl_box_prune(out);
}

/* Elements that are not at value 0 anywhere in the box. */
static int faults_in(const rl_bounded *b, const rl_box *box)
{
    int faults = 0;
    for (int i = 0; i < b->elements; i++)
        faults += rl_box_values(box, b->variable[i])[0] > 0;
    return faults;
}

/* ---- what a region comes to ---- */

/* The factor that the region's sum has in the unit of the sums. */
static double unit_weight(rl_bounded *b, double log_sum)
{
    if (log_sum > b->log_unit) {
        double scale = exp(b->log_unit - log_sum);
        b->log_unit = log_sum;
        b->total *= scale;
        for (int i = 0; i < b->boxes.first[b->boxes.variables]; i++)
            b->value[i] *= scale;
        for (int g = 0; g <= RL_OF_ALL; g++)
            b->share[g] *= scale;
    }
    return exp(log_sum - b->log_unit);
}

static void add_marginals(rl_bounded *b, rl_arena *arena, const rl_tree *tree, const rl_box *box, double weight)
{
    for (int i = 0; i < b->elements; i++) {
        int v = b->variable[i];
        double *value = b->value + b->boxes.first[v];
        double *marginal = rl_many(arena, box->count[v], double);
        rl_tree_marginal(tree, v, marginal);
        for (int j = 0; j < box->count[v]; j++)
            value[rl_box_values(box, v)[j]] += weight * marginal[j];
    }
}

void rl_region_restrict(const rl_bounded *b, rl_arena *arena, rl_tree *tree, const rl_box *box, int element,
                        rl_state s)
{
    const rl_node *node = &b->bench.frame.model->node[element];
    int v = rl_bounded_variable(b, element), first = b->boxes.first[v], size = b->boxes.first[v + 1] - first;
    double *all = rl_many(arena, size, double), *weight = rl_many(arena, box->count[v], double);
    if (node->info.sort != RL_LOAD)
        rl_frame_clamp(&b->bench.frame, rl_bounded_mask(b, element), node, b->bench.draft.state[element], s, all);
    else if (s == RL_SOUND || s == RL_FAILED)
        all[s == RL_FAILED] = 1;
    for (int i = 0; i < box->count[v]; i++)
        weight[i] = all[rl_box_values(box, v)[i]];
    rl_tree_weigh(tree, v, weight);
}

/* The region's sum with the elements of each group held sound. */
static void add_shares(rl_bounded *b, rl_arena *arena, rl_tree *tree, const rl_box *box)
{
    for (int g = 0; g <= RL_OF_ALL; g++) {
        for (int i = 0; i < b->elements; i++) {
            int own = rl_bounded_group(b->bench.frame.model->node[b->element[i]].info.sort);
            if (g == own || g == RL_OF_ALL)
                rl_region_restrict(b, arena, tree, box, b->element[i], RL_SOUND);
            else
                rl_tree_weigh(tree, b->variable[i], NULL);
        }
        double log_sum = rl_tree_collect(tree);
        b->share[g] += isinf(log_sum) ? 0 : exp(log_sum - b->log_unit);
    }
}

/* Sums the box exactly; ln of the sum. */
static double sum_up(rl_bounded *b, rl_arena *arena, const rl_box *box, const rl_net *net, const rl_plan *plan)
{
    rl_tree *tree = rl_tree_make(arena, net, plan);
    double log_sum = rl_tree_collect(tree);
    b->boxes.steps += PASSES * rl_plan_cells(plan);
    b->cells = fmax(b->cells, rl_plan_cells(plan));
    b->width = rl_plan_width(plan) > b->width ? rl_plan_width(plan) : b->width;
    if (isinf(log_sum))
        return log_sum;
    double weight = unit_weight(b, log_sum);
    b->total += weight;
    rl_tree_distribute(tree);
    add_marginals(b, arena, tree, box, weight);
    add_shares(b, arena, tree, box);
    return log_sum;
}

/* ---- whether a region fits ---- */

/* Whether the cut's elements are each either at value 0 or at fault; sets the
 * number of combinations that are left of their values. */
static bool is_decided(const rl_bounded *b, const rl_box *box, double *combinations)
{
    bool decided = true;
    *combinations = 1;
    for (int i = 0; i < b->cuts; i++) {
        int count = box->count[b->cut[i]];
        *combinations *= count;
        decided = decided && (count == 1 || rl_box_values(box, b->cut[i])[0] > 0);
    }
    return decided;
}

/* A plan that fits the bound, or NULL. */
static rl_plan *fitting_plan(rl_bounded *b, rl_arena *arena, const rl_box *box, const rl_net *net)
{
    double combinations;
    bool near = rl_box_cells(box, b->plan) <= HOPE * b->most;
    bool decided = is_decided(b, box, &combinations);
    if (!near && (!decided || (combinations >= b->narrow && combinations > 1)))
        return NULL;
    rl_plan *plan = rl_plan_make(arena, net);
    if (rl_plan_cells(plan) <= b->most)
        return plan;
    b->boxes.steps += fmin(VAIN_STEPS, rl_plan_cells(plan));
    if (decided)
        b->narrow = fmin(b->narrow, combinations);
    return NULL;
}

static size_t ceiling_cells(const rl_bounded *b)
{
    double cells = fmin(CEILING_CELLS, b->most / 16);
    return cells > 16 ? (size_t)cells : 16;
}

/* Makes a region of a greater one: summed at once if it fits, else to be looked at. */
static void part_off(rl_bounded *b, const rl_region *up, int variable, int low, int high)
{
    rl_region r = {.up = up, .variable = variable, .low = low, .high = high, .log_sum = -INFINITY};
    rl_mark mark = rl_arena_mark(b->arena);
    rl_box box;
    b->boxes.steps += HANDLING * b->boxes.variables;
    bool fits = false, holds = rl_region_box(b, b->arena, &r, &box);
    if (holds) {
        r.faults = faults_in(b, &box);
        rl_net *net = rl_box_net(b->arena, &box);
        rl_plan *plan = fitting_plan(b, b->arena, &box, net);
        fits = plan != NULL;
        if (fits)
            r.log_sum = sum_up(b, b->arena, &box, net, plan);
        else
            r.ceiling = rl_ceiling(b->arena, net, b->plan, ceiling_cells(b), &b->boxes.steps);
    }
    rl_arena_rewind(b->arena, mark);
    if (!holds || isinf(fits ? r.log_sum : r.ceiling))
        return;
    if (up && r.ceiling > up->ceiling)
        r.ceiling = up->ceiling;
    rl_region *own = rl_new(b->arena, rl_region);
    *own = r;
    if (fits)
        regions_add(&b->done, b->arena, own);
    else
        push(b, own);
}

/* ---- parting ---- */

/* Leaves the least value of a variable; false: nothing holds then. */
static bool clamp(rl_box *box, int variable)
{
    int first = rl_box_values(box, variable)[0];
    rl_box_limit(box, variable, first, first + 1);
    return rl_box_prune(box);
}

/* The element whose first value alone leaves the fewest cells; -1: none has two. */
static int best_to_clamp(rl_bounded *b, const rl_box *box)
{
    int best = -1;
    double least = INFINITY;
    for (int i = 0; i < b->elements; i++) {
        int v = b->variable[i];
        if (box->count[v] == 1)
            continue;
        rl_mark mark = rl_arena_mark(b->arena);
        rl_box clamped = rl_box_copy(b->arena, box);
        double cells = clamp(&clamped, v) ? rl_box_cells(&clamped, b->plan) : 0;
        rl_arena_rewind(b->arena, mark);
        if (best < 0 || cells < least) {
            least = cells;
            best = v;
        }
    }
    return best;
}

static bool box_fits(rl_bounded *b, const rl_box *box)
{
    rl_mark mark = rl_arena_mark(b->arena);
    rl_plan *plan = rl_plan_make(b->arena, rl_box_net(b->arena, box));
    bool fits = rl_plan_cells(plan) <= b->most;
    rl_arena_rewind(b->arena, mark);
    return fits;
}

/* Whether the net fits at all, were every element clamped. */
static bool can_fit(rl_bounded *b)
{
    rl_mark mark = rl_arena_mark(b->arena);
    rl_box box = rl_box_copy(b->arena, &b->whole);
    bool holds = true;
    for (int i = 0; i < b->elements && holds; i++)
        holds = clamp(&box, b->variable[i]);
    bool fits = !holds || box_fits(b, &box);
    rl_arena_rewind(b->arena, mark);
    return fits;
}

/* Elements that, taken sound, make the net fit. */
static void choose_cut(rl_bounded *b)
{
    rl_box box = rl_box_copy(b->arena, &b->whole);
    b->cut = rl_many(b->arena, b->elements + 1, int);
    for (bool holds = true; holds && !box_fits(b, &box);) {
        int v = best_to_clamp(b, &box);
        if (v < 0)
            return;
        b->cut[b->cuts++] = v;
        holds = clamp(&box, v);
    }
}

/* The first value behind the split of a variable: what is at fault from what
 * is not, else one half from the other. */
static int split_at(const rl_box *box, int variable)
{
    const int *value = rl_box_values(box, variable);
    assert(box->count[variable] > 1);
    return value[0] == 0 ? value[1] : value[box->count[variable] / 2];
}

/* The variable to part the box by, or -1: it cannot be parted. */
static int choose_split(rl_bounded *b, const rl_box *box)
{
    int widest = -1, most = 1;
    for (int i = 0; i < b->cuts; i++) {
        int v = b->cut[i];
        if (box->count[v] > 1 && rl_box_values(box, v)[0] == 0)
            return v;
        if (box->count[v] > most) {
            most = box->count[v];
            widest = v;
        }
    }
    return widest >= 0 ? widest : best_to_clamp(b, box);
}

static void part(rl_bounded *b, rl_region *region)
{
    rl_mark mark = rl_arena_mark(b->arena);
    rl_box box;
    bool holds = rl_region_box(b, b->arena, region, &box);
    assert(holds);
    (void)holds;
    int v = choose_split(b, &box), middle = v >= 0 ? split_at(&box, v) : 0;
    rl_arena_rewind(b->arena, mark);
    if (v < 0) {
        regions_add(&b->stuck, b->arena, region);
        return;
    }
    part_off(b, region, v, 0, middle);
    part_off(b, region, v, middle, b->boxes.first[v + 1] - b->boxes.first[v]);
}

/* ---- looking ---- */

double rl_bounded_found(const rl_bounded *b)
{
    return b->total > 0 ? b->log_unit + log(b->total) : -INFINITY;
}

static bool may_go_on(const rl_bounded *b)
{
    return b->boxes.steps < MOST_STEPS && b->open.count + b->later.count + b->done.count < MOST_REGIONS;
}

static void look_at_all(rl_bounded *b)
{
    while (b->open.count > 0 && may_go_on(b)) {
        rl_region *next = pop(b);
        if (next->ceiling < rl_bounded_found(b) - NO_ACCOUNT)
            regions_add(&b->later, b->arena, next);
        else
            part(b, next);
    }
    while (b->open.count + b->later.count > 0 && may_go_on(b))
        part(b, b->open.count > 0 ? pop(b) : b->later.at[--b->later.count]);
}

/* ---- what was left ---- */

static double log_add(double a, double b)
{
    double most = fmax(a, b);
    return isinf(most) ? most : most + log(exp(a - most) + exp(b - most));
}

static void leave(const rl_bounded *b, const rl_region *r, double *sum, int *faults)
{
    *sum = log_add(*sum, r->ceiling);
    if (r->ceiling >= rl_bounded_found(b) - NO_ACCOUNT && r->faults <= *faults)
        *faults = r->faults - 1;
}

double rl_bounded_left(const rl_bounded *b, int *faults)
{
    const rl_regions *list[] = {&b->later, &b->stuck};
    double sum = -INFINITY;
    *faults = b->elements;
    for (int i = 0; i < b->open.count; i++)
        leave(b, (const rl_region *)b->open.at[i], &sum, faults);
    for (int l = 0; l < 2; l++)
        for (int i = 0; i < list[l]->count; i++)
            leave(b, list[l]->at[i], &sum, faults);
    return sum;
}

/* ---- from the start ---- */

static void list_elements(rl_bounded *b)
{
    const rl_exprs *exprs = &b->bench.exprs;
    const rl_network *network = &b->bench.network;
    b->element = rl_many(b->arena, network->expr_count, int);
    b->variable = rl_many(b->arena, network->expr_count, int);
    for (int x = 1; x < network->expr_count; x++) {
        bool touched = rl_expr_is_base(exprs, x) && network->base_of[exprs->at[x].a] == x;
        if (!touched || rl_network_variable(network, x) < 0)
            continue;
        b->element[b->elements] = exprs->at[x].a;
        b->variable[b->elements++] = rl_network_variable(network, x);
    }
}

static rl_status make_bench(rl_bounded *b, rl_bench *bench)
{
    int nodes = bench->frame.model->nodes;
    bool *keep = rl_many(b->arena, nodes, bool);
    memset(keep, true, (size_t)nodes * sizeof *keep);
    return rl_bench_again(&b->bench, b->arena, bench, NULL, keep);
}

/* Cells of one region's tables: what memory allows, but so that there is work for many. */
static double cells_of(const rl_case *c)
{
    size_t bound = c->context->settings.memory_bound;
    double cells = (double)(bound ? bound : (size_t)1 << 30) / (double)sizeof(double);
    return fmin(cells, MOST_STEPS / (PASSES * FEWEST_REGIONS));
}

rl_status rl_bounded_look(rl_bounded **out, rl_arena *arena, rl_bench *bench)
{
    rl_bounded *b = *out = rl_new(arena, rl_bounded);
    b->arena = arena;
    b->most = cells_of(bench->observer.kase);
    b->log_unit = -INFINITY;
    b->narrow = INFINITY;
    if (make_bench(b, bench) == RL_CONTRADICTION)
        return RL_CONTRADICTION;
    if (b->bench.network.wide)
        return RL_WIDE;   /* one path of so many occasions is too wide by itself */
    b->plan = b->bench.plan;
    rl_boxes_make(&b->boxes, arena, b->bench.network.net);
    b->value = rl_many(arena, b->boxes.first[b->boxes.variables] + 1, double);
    b->whole = rl_box_whole(arena, &b->boxes);
    if (!rl_box_prune(&b->whole))
        return RL_CONTRADICTION;
    list_elements(b);
    if (!can_fit(b))
        return RL_WIDE;
    choose_cut(b);
    part_off(b, NULL, -1, 0, 0);
    look_at_all(b);
    int faults;
    bool left = !isinf(rl_bounded_left(b, &faults));
    if (!(b->total > 0))
        return left ? RL_WIDE : RL_CONTRADICTION;
    return left && faults < 0 ? RL_WIDE : RL_OK;
}

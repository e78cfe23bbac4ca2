/* program.c: from buckets to parts and joins.
 *
 * Invariant: a bucket's joins take its own part, then every factor of two
 * variables or more and every child's message of two or more, each time the one
 * that makes the product least; the last join sums the bucket's variable out
 * and makes its message.
 * A plan that grew takes over what its buckets did before, the cells of the tables lying as they did.
 * Part k is bucket k's own, part n + k its message, the others are factors and products.
 */
#include "infer_private.h"

#include <assert.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

typedef struct programming {
    rl_arena *arena;
    rl_plan *plan;
    const rl_net *net;
    const rl_plan *old;     /* that the plan grew from, or NULL */
    int *now;               /* by part of it: the part that it has become, or -1; factors keep theirs */
    const int *factor_part; /* by factor: its part in the old plan; NULL: there is none */
    int part_room, joins, join_room;
    int *place;             /* room for lists of places, and how much is left */
    int places_left;
    rl_axis *axis;          /* the same for axes */
    int axes_left;
    int *list;              /* parts of the bucket at hand */
    int listed, list_room;
    bool spoken;            /* a child speaks of that bucket's variable alone, or all joins are needed for else */
    bool too_many;          /* cells of that bucket: its joins will never run */
    double cells;           /* of all parts */
} programming;

static double cells_of(const rl_plan *plan, const int *place, int count)
{
    double cells = 1;
    for (int i = 0; i < count && cells < RL_MOST_CELLS; i++)
        cells *= plan->size[place[i]];
    return cells;
}

/* More cells than any memory has; a tree of such parts is never made. */
static const size_t TOO_MANY = SIZE_MAX / 64;

static rl_part part_of(const int *place, int count, int factor, double cells)
{
    return (rl_part){.count = count, .place = place, .factor = factor, .room = -1,
                     .cells = cells < (double)TOO_MANY ? (size_t)cells : TOO_MANY};
}

/* A list of up to `count` places; kept_places says how many of them are wanted. */
static int *take_places(programming *work, int count)
{
    enum { PLACES = 512 };
    if (!work->place || work->places_left < count) {
        work->places_left = count > PLACES ? count : PLACES;
        work->place = rl_raw(work->arena, work->places_left, int);
    }
    return work->place;
}

static void keep_places(programming *work, int count)
{
    work->place += count;
    work->places_left -= count;
}

static int add_part(programming *work, const int *place, int count, int factor)
{
    rl_plan *plan = work->plan;
    if (plan->parts == work->part_room) {
        rl_part *more = rl_raw(work->arena, 2 * work->part_room, rl_part);
        memcpy(more, plan->part, (size_t)plan->parts * sizeof *more);
        plan->part = more;
        if (plan->from) {
            int *from = rl_raw(work->arena, 2 * work->part_room, int);
            memcpy(from, plan->from, (size_t)plan->parts * sizeof *from);
            plan->from = from;
        }
        work->part_room *= 2;
    }
    plan->part[plan->parts] = part_of(place, count, factor, cells_of(plan, place, count));
    if (plan->from)
        plan->from[plan->parts] = -1;
    work->cells += (double)plan->part[plan->parts].cells;
    return plan->parts++;
}

/* The same of a part that the plan it grew from has. */
static int take_part(programming *work, int part)
{
    const rl_plan *old = work->old;
    const rl_part *was = &old->part[part];
    if (work->now[part] >= 0)
        return work->now[part];
    int *place = take_places(work, was->count);
    keep_places(work, was->count);
    for (int i = 0; i < was->count; i++)
        place[i] = work->plan->place[old->order[was->place[i]]];
    double cells = work->cells;
    int taken = work->now[part] = add_part(work, place, was->count, was->factor);
    work->plan->part[taken].room = was->room;
    work->plan->from[taken] = part;
    work->cells = cells;
    return taken;
}

/* A factor's places by rising lay. */
static int add_factor(programming *work, int f)
{
    const int *lay = work->plan->lay;
    const rl_table *table = &work->net->factor[f];
    int *place = take_places(work, table->count);
    keep_places(work, table->count);
    for (int i = 0; i < table->count; i++) {
        int p = work->plan->place[table->variable[i]], at = i;
        for (; at > 0 && lay[place[at - 1]] > lay[p]; at--)
            place[at] = place[at - 1];
        place[at] = p;
    }
    return add_part(work, place, table->count, f);
}

static void list_part(programming *work, int part)
{
    if (work->listed == work->list_room) {
        int *more = rl_raw(work->arena, 2 * work->list_room, int);
        memcpy(more, work->list, (size_t)work->listed * sizeof *more);
        work->list = more;
        work->list_room *= 2;
    }
    work->list[work->listed++] = part;
}

/* What a bucket joins with its own part. */
static void list_bucket(programming *work, int k)
{
    rl_plan *plan = work->plan;
    for (int f = plan->first_factor[k]; f >= 0; f = plan->next_factor[f])
        if (work->net->factor[f].count > 1)
            list_part(work, work->factor_part && f < work->old->factors ? take_part(work, work->factor_part[f])
                                                                       : add_factor(work, f));
    for (int c = plan->child[k]; c >= 0; c = plan->sibling[c])
        if (rl_speaks_of_one(plan, c))
            work->spoken = true;
        else
            list_part(work, rl_message_part(plan, c));
}

static inline int lay_of(const int *lay, int place)
{
    return lay ? lay[place] : place;
}

/* A variable that `out` does not list: place and step; none: -1. */
typedef struct own_axis {
    int place;
    size_t step;
} own_axis;

static int find_axes(const int *size, const int *lay, own_axis own, const rl_part *out, const rl_part *left,
                     const rl_part *right, rl_axis *axes)
{
    int o = out->count - 1, l = left->count - 1, r = right ? right->count - 1 : -1, rank = 0;
    size_t out_step = 1, left_step = 1, right_step = 1;
    while (l >= 0 || r >= 0) {
        int on_left = l < 0 ? -1 : left->place[l], place = on_left, on_right = r < 0 ? -1 : right->place[r];
        if (l < 0 || (r >= 0 && lay_of(lay, on_right) > lay_of(lay, on_left)))
            place = on_right;
        size_t count = (size_t)size[place];
        rl_axis axis = {.count = count};
        if (place == on_left) {
            axis.left = left_step;
            left_step *= count;
            l--;
        }
        if (place == on_right) {
            axis.right = right_step;
            right_step *= count;
            r--;
        }
        if (place == own.place) {
            axis.out = own.step;
        } else if (o >= 0 && out->place[o] == place) {
            axis.out = out_step;
            out_step *= count;
            o--;
        }
        if (count > 1)
            rank = rl_add_axis(axes, rank, axis);
    }
    assert(o < 0);
    return rank;
}

int rl_axes_of(const int *size, const int *lay, const rl_part *out, const rl_part *left, const rl_part *right,
               rl_axis *axes)
{
    return find_axes(size, lay, (own_axis){-1, 0}, out, left, right, axes);
}

int rl_bucket_axes(const rl_plan *plan, int k, const rl_part *left, const rl_part *right, rl_axis *axes)
{
    const rl_part *message = &plan->part[rl_message_part(plan, k)];
    return find_axes(plan->size, plan->lay, (own_axis){k, message->cells}, message, left, right, axes);
}

/* Room for the axes of one more join. */
static void take_axes(programming *work)
{
    enum { AXES = 8 * RL_MOST_AXES };
    if (work->axes_left >= RL_MOST_AXES)
        return;
    work->axes_left = AXES;
    work->axis = rl_raw(work->arena, AXES, rl_axis);
}

static void room_for_join(programming *work)
{
    rl_plan *plan = work->plan;
    if (work->joins < work->join_room)
        return;
    rl_join *more = rl_raw(work->arena, 2 * work->join_room, rl_join);
    memcpy(more, plan->join, (size_t)work->joins * sizeof *more);
    plan->join = more;
    work->join_room *= 2;
}

static void add_join(programming *work, int out, int left, int right)
{
    rl_plan *plan = work->plan;
    room_for_join(work);
    take_axes(work);
    int rank = work->too_many ? 0 : rl_axes_of(plan->size, plan->lay, &plan->part[out], &plan->part[left],
                                               right < 0 ? NULL : &plan->part[right], work->axis);
    plan->join[work->joins++] = (rl_join){.out = out, .left = left, .right = right, .rank = rank, .axis = work->axis};
    work->axis += rank;
    work->axes_left -= rank;
}

/* The product of two parts with nothing summed. */
static int add_product(programming *work, int left, int right)
{
    const rl_part *a = &work->plan->part[left], *b = &work->plan->part[right];
    const int *lay = work->plan->lay;
    int *place = take_places(work, a->count + b->count);
    int count = 0, i = 0, j = 0;
    while (i < a->count || j < b->count) {
        int next = j == b->count || (i < a->count && lay[a->place[i]] <= lay[b->place[j]]) ? a->place[i] : b->place[j];
        i += i < a->count && a->place[i] == next;
        j += j < b->count && b->place[j] == next;
        place[count++] = next;
    }
    keep_places(work, count);
    int out = add_part(work, place, count, -1);
    size_t cells = work->plan->part[out].cells;
    work->plan->widest_product = cells > work->plan->widest_product ? cells : work->plan->widest_product;
    add_join(work, out, left, right);
    return out;
}

/* Cells of the product of two parts. */
static double product_cells(const rl_plan *plan, const rl_part *a, const rl_part *b)
{
    double cells = (double)b->cells;
    const int *lay = plan->lay;
    for (int i = 0, j = 0; i < a->count; i++) {
        while (j < b->count && lay[b->place[j]] < lay[a->place[i]])
            j++;
        if (j == b->count || b->place[j] != a->place[i])
            cells *= plan->size[a->place[i]];
    }
    return cells;
}

/* Factors that lie within another part are multiplied onto it first: the running product never
 * grows by them. */
static void join_within(programming *work)
{
    const rl_plan *plan = work->plan;
    for (int i = 0; work->listed > 1 && i < work->listed; i++) {
        int best = -1;
        for (int g = 0; g < work->listed && plan->part[work->list[i]].factor >= 0; g++) {
            const rl_part *large = &plan->part[work->list[g]], *own = &plan->part[work->list[i]];
            bool within = g != i && large->cells <= RL_SMALL_PRODUCT &&
                          product_cells(plan, own, large) == (double)large->cells;
            if (within && (best < 0 || large->cells < plan->part[work->list[best]].cells))
                best = g;
        }
        if (best < 0)
            continue;
        work->list[best] = add_product(work, work->list[best], work->list[i]);
        work->cells += (double)plan->part[work->list[best]].cells;   /* its bar */
        work->list[i] = work->list[--work->listed];
        i = -1;   /* anew: the product is no factor, so this comes to an end */
    }
}

/* Takes out of the list what makes the least product with `running`; the largest of those. */
static int take_next(programming *work, int running)
{
    const rl_part *all = work->plan->part;
    int at = 0;
    double least = INFINITY;
    for (int i = 0; work->listed > 1 && i < work->listed; i++) {
        double cells = product_cells(work->plan, &all[running], &all[work->list[i]]);
        if (cells < least || (cells == least && all[work->list[i]].cells > all[work->list[at]].cells)) {
            least = cells;
            at = i;
        }
    }
    int next = work->list[at];
    work->list[at] = work->list[--work->listed];
    return next;
}

/* Joins all of the list but one, which is left. */
static int join_products(programming *work, int k)
{
    join_within(work);
    int running = k, next = work->listed > 0 ? take_next(work, k) : -1;
    for (int i = 0; work->listed > 0; i++) {
        running = add_product(work, running, next);
        next = take_next(work, running);
        rl_part *product = &work->plan->part[running];
        if (product->cells <= RL_SMALL_PRODUCT)
            work->cells += (double)product->cells;   /* its bar is kept too */
        if (product->cells > RL_SMALL_PRODUCT && work->listed > 0 && work->plan->part[next].factor >= 0) {
            product->room = i % 2;                   /* not needed on the way back */
            work->cells -= (double)product->cells;
        }
    }
    work->list[0] = next;
    return running;
}

/* Marks which joins of a bucket have to be run back at once. */
static void mark_joins(programming *work, int k)
{
    rl_plan *plan = work->plan;
    int needed = work->joins;
    for (int j = work->joins; j-- > plan->first_join[k];) {
        const rl_join *join = &plan->join[j];
        if (join->left == k)
            plan->own_join[k] = j;
        if (rl_is_message(plan, join->left) || rl_is_message(plan, join->right))
            needed = j;
        if (plan->part[join->left].cells > RL_SMALL_PRODUCT)
            work->spoken = true;   /* its bar is passed on from join to join, or may be */
    }
    plan->needed_join[k] = work->spoken ? plan->first_join[k] : needed;
}

static void join_bucket(programming *work, int k)
{
    rl_plan *plan = work->plan;
    work->listed = 0;
    work->spoken = false;
    work->too_many = cells_of(plan, rl_scope(plan, k), rl_scope_count(plan, k)) >= (double)TOO_MANY;
    if (!work->too_many)
        list_bucket(work, k);
    int running = join_products(work, k);
    add_join(work, rl_message_part(plan, k), running, work->list[0]);
    mark_joins(work, k);
}

/* Places of fewer values than this are laid first, in the order of elimination otherwise. */
enum { FEW = 4 };

static void set_lay(rl_arena *arena, rl_plan *plan)
{
    int next = 0;
    plan->lay = rl_arena_raw(arena, (size_t)plan->variables * sizeof(int));
    for (int k = 0; k < plan->variables; k++)
        if (plan->size[k] < FEW)
            plan->lay[k] = next++;
    for (int k = 0; k < plan->variables; k++)
        if (plan->size[k] >= FEW)
            plan->lay[k] = next++;
}

/* A copy of rising places in the order of their lay. */
static const int *by_lay(programming *work, const int *place, int count)
{
    const int *lay = work->plan->lay;
    int *list = take_places(work, count);
    keep_places(work, count);
    for (int i = 0; i < count; i++) {
        int at = i;
        for (; at > 0 && lay[list[at - 1]] > lay[place[i]]; at--)
            list[at] = list[at - 1];
        list[at] = place[i];
    }
    return list;
}

/* ---- what a plan grew from ---- */

/* Old variables lie as they did, new ones of few values before them, others behind. */
static void keep_lay(rl_arena *arena, rl_plan *plan, const rl_plan *old)
{
    int next = 0;
    plan->lay = rl_raw(arena, plan->variables, int);
    for (int v = old->variables; v < plan->variables; v++)
        if (plan->size[plan->place[v]] < FEW)
            plan->lay[plan->place[v]] = next++;
    for (int k = 0; k < old->variables; k++)
        plan->lay[plan->place[old->order[k]]] = next + old->lay[k];
    next += old->variables;
    for (int v = old->variables; v < plan->variables; v++)
        if (plan->size[plan->place[v]] >= FEW)
            plan->lay[plan->place[v]] = next++;
}

static void begin_growth(programming *work)
{
    const rl_plan *old = work->old;
    rl_plan *plan = work->plan;
    int *factor_part = rl_raw(work->arena, old->factors, int);
    work->now = rl_raw(work->arena, old->parts, int);
    memset(work->now, -1, (size_t)old->parts * sizeof *work->now);
    for (int p = 0; p < old->parts; p++)
        if (old->part[p].factor >= 0)
            factor_part[old->part[p].factor] = p;
    work->factor_part = factor_part;
    plan->from = rl_raw(work->arena, work->part_room, int);
    memset(plan->from, -1, 2 * (size_t)plan->variables * sizeof *plan->from);
    for (int k = 0; k < plan->variables; k++) {
        int was = plan->was[k];
        if (was < 0)
            continue;
        plan->from[k] = was;
        plan->from[rl_message_part(plan, k)] = rl_message_part(old, was);
        work->now[was] = k;
        work->now[rl_message_part(old, was)] = rl_message_part(plan, k);
    }
    plan->widest_product = old->widest_product;
    work->cells = old->cells;
}

/* The joins of a bucket that is as it was. */
static void keep_joins(programming *work, int k)
{
    const rl_plan *old = work->old;
    rl_plan *plan = work->plan;
    int was = plan->was[k], shift = work->joins - old->first_join[was];
    for (int j = old->first_join[was]; j < old->first_join[was + 1]; j++) {
        rl_join join = old->join[j];
        join.left = take_part(work, join.left);
        join.right = join.right < 0 ? -1 : take_part(work, join.right);
        join.out = take_part(work, join.out);
        room_for_join(work);
        plan->join[work->joins++] = join;
    }
    plan->own_join[k] = old->own_join[was] + shift;
    plan->needed_join[k] = old->needed_join[was] + shift;
}

/* ---- the whole ---- */

/* A bucket's own part and its message. */
static void outer_parts(programming *work, int k)
{
    rl_plan *plan = work->plan;
    const int *scope = rl_scope(plan, k);
    int count = rl_scope_count(plan, k);
    double rest = cells_of(plan, scope + 1, count - 1);
    plan->part[k] = part_of(scope, 1, -1, plan->size[k]);
    plan->part[rl_message_part(plan, k)] = part_of(by_lay(work, scope + 1, count - 1), count - 1, -1, rest);
    if (!work->old || plan->was[k] < 0)
        work->cells += 5 * plan->size[k] + 2 * rest;   /* own, terms, weight, marginal; message; bars */
}

void rl_program_make(rl_arena *arena, rl_plan *plan, const rl_net *net, const rl_plan *old)
{
    int n = plan->variables;
    double widest = 0;
    programming work = {.arena = arena, .plan = plan, .net = net, .old = old, .part_room = 3 * n + net->factors + 1,
                        .join_room = 2 * n + net->factors + 1, .list_room = 16};
    plan->part = rl_raw(arena, work.part_room, rl_part);
    plan->join = rl_raw(arena, work.join_room, rl_join);
    plan->first_join = rl_raw(arena, n + 1, int);
    plan->own_join = rl_raw(arena, n, int);
    plan->needed_join = rl_raw(arena, n, int);
    work.list = rl_raw(arena, work.list_room, int);
    plan->parts = 2 * n;
    if (old) {
        keep_lay(arena, plan, old);
        begin_growth(&work);
    } else {
        set_lay(arena, plan);
    }
    for (int k = 0; k < n; k++) {
        outer_parts(&work, k);
        widest = fmax(widest, (double)plan->size[k] * cells_of(plan, rl_scope(plan, k) + 1, rl_scope_count(plan, k) - 1));
    }
    for (int k = 0; k < n; k++) {
        plan->first_join[k] = work.joins;
        if (old && plan->was[k] >= 0)
            keep_joins(&work, k);
        else
            join_bucket(&work, k);
    }
    plan->first_join[n] = work.joins;
    /* two bars of products at a time, and a bucket's own table when one is asked for */
    plan->cells = work.cells + 2 * (double)plan->widest_product + widest;
    if (!(plan->cells < RL_MOST_CELLS))
        plan->cells = RL_MOST_CELLS;
}

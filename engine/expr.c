/* expr.c: building expressions for the paths of design §1.
 *
 * Invariant: see expr.h.  Paths are worked out once for each world, so that
 * forks cost no more than the elements they pass.
 */
#include "expr.h"

#include <assert.h>
#include <string.h>

/* Room at first: powers of two. */
enum { FIRST_ROOM = 128, MOST_FIRST_ROOM = 512 };

static unsigned mix(rl_expr_sort sort, int a, int b)
{
    unsigned h = (unsigned)sort * 0x9e3779b1u;
    h = (h ^ (unsigned)a) * 0x85ebca6bu;
    h = (h ^ (h >> 13) ^ (unsigned)b) * 0xc2b2ae35u;
    return h ^ (h >> 16);
}

static void grow(rl_exprs *exprs)
{
    int room = exprs->room * 2;
    rl_expr *at = rl_raw(exprs->arena, room, rl_expr);
    memcpy(at, exprs->at, (size_t)exprs->count * sizeof *at);
    exprs->at = at;
    exprs->room = room;
    exprs->slots = room * 2;
    exprs->slot = rl_raw(exprs->arena, exprs->slots, int);
    memset(exprs->slot, -1, (size_t)exprs->slots * sizeof *exprs->slot);
    for (int i = 0; i < exprs->count; i++) {
        unsigned h = mix(at[i].sort, at[i].a, at[i].b);
        while (exprs->slot[h & (unsigned)(exprs->slots - 1)] >= 0)
            h++;
        exprs->slot[h & (unsigned)(exprs->slots - 1)] = i;
    }
}

/* Whether an expression of these parts can never be corroded. */
static bool is_calm(const rl_exprs *exprs, rl_expr_sort sort, int a, int b)
{
    if (sort == RL_X_MAX || sort == RL_X_MIN)
        return exprs->at[a].calm && exprs->at[b].calm;
    return sort == RL_X_CALM || sort == RL_X_FAILED;
}

static int intern(rl_exprs *exprs, rl_expr_sort sort, int a, int b)
{
    if (exprs->count == exprs->room)
        grow(exprs);
    unsigned mask = (unsigned)(exprs->slots - 1);
    unsigned h = mix(sort, a, b) & mask;
    for (; exprs->slot[h] >= 0; h = (h + 1) & mask) {
        const rl_expr *x = &exprs->at[exprs->slot[h]];
        if (x->sort == sort && x->a == a && x->b == b)
            return exprs->slot[h];
    }
    exprs->slot[h] = exprs->count;
    exprs->at[exprs->count] = (rl_expr){sort, a, b, is_calm(exprs, sort, a, b)};
    return exprs->count++;
}

void rl_exprs_make(rl_exprs *exprs, rl_arena *arena, const rl_frame *frame)
{
    *exprs = (rl_exprs){.arena = arena, .frame = frame, .room = FIRST_ROOM};
    while (exprs->room < MOST_FIRST_ROOM && exprs->room < 2 * frame->model->nodes)
        exprs->room *= 2;
    exprs->at = rl_raw(arena, exprs->room, rl_expr);
    exprs->slots = exprs->room * 2;
    exprs->slot = rl_raw(arena, exprs->slots, int);
    memset(exprs->slot, -1, (size_t)exprs->slots * sizeof *exprs->slot);
    exprs->calm_row = rl_many(arena, frame->rows, int);
    exprs->calm_row[1] = 1;
    exprs->calm_row[frame->rows - 1] = exprs->failed_row[1] = frame->rows - 1;
    int sound = intern(exprs, RL_X_SOUND, 0, 0);
    assert(sound == 0);
    (void)sound;
}

void rl_exprs_copy(rl_exprs *copy, rl_arena *arena, const rl_exprs *exprs)
{
    *copy = *exprs;
    copy->arena = arena;
    copy->at = rl_raw(arena, copy->room, rl_expr);
    copy->slot = rl_raw(arena, copy->slots, int);
    memcpy(copy->at, exprs->at, (size_t)copy->count * sizeof *copy->at);
    memcpy(copy->slot, exprs->slot, (size_t)copy->slots * sizeof *copy->slot);
}

int rl_expr_row(const rl_exprs *exprs, int expr, rl_mask mask, int bit, int value)
{
    if (exprs->at[expr].sort == RL_X_LOAD)
        return value;
    if (exprs->at[expr].calm && value == rl_frame_patterns(mask))
        return exprs->frame->rows - 1;
    return rl_frame_project(exprs->frame, mask, 1u << bit, value);
}

bool rl_world_forces(const rl_world *world, int element)
{
    for (int i = 0; i < world->count; i++)
        if (world->forced[i] == element)
            return true;
    return false;
}

/* Sorted union of two ascending lists. */
static int unite(const int *a, int na, const int *b, int nb, int *out)
{
    int n = 0, i = 0, j = 0;
    while (i < na || j < nb) {
        int next = j == nb || (i < na && a[i] <= b[j]) ? a[i] : b[j];
        while (i < na && a[i] == next)
            i++;
        while (j < nb && b[j] == next)
            j++;
        out[n++] = next;
    }
    return n;
}

static void world_append(rl_exprs *exprs, rl_world *world)
{
    if (exprs->worlds == exprs->world_room) {
        int room = exprs->world_room ? exprs->world_room * 2 : 8;
        rl_world **more = rl_many(exprs->arena, room, rl_world *);
        for (int i = 0; i < exprs->worlds; i++)
            more[i] = exprs->world[i];
        exprs->world = more;
        exprs->world_room = room;
    }
    exprs->world[exprs->worlds++] = world;
}

rl_world *rl_exprs_world(rl_exprs *exprs, const int *first, int first_count, const int *second, int second_count)
{
    int *forced = rl_many(exprs->arena, first_count + second_count + 1, int);
    int count = unite(first, first_count, second, second_count, forced);
    for (int i = 0; i < exprs->worlds; i++) {
        rl_world *w = exprs->world[i];
        if (w->count == count && memcmp(w->forced, forced, (size_t)count * sizeof *forced) == 0)
            return w;
    }
    int nodes = exprs->frame->model->nodes;
    rl_world *world = rl_new(exprs->arena, rl_world);
    world->forced = forced;
    world->count = count;
    world->of_return = rl_raw(exprs->arena, nodes, int);
    world->of_feed = rl_raw(exprs->arena, nodes, int);
    memset(world->of_return, -1, (size_t)nodes * sizeof(int));
    memset(world->of_feed, -1, (size_t)nodes * sizeof(int));
    world_append(exprs, world);
    return world;
}

static int expr_min(rl_exprs *exprs, int a, int b)
{
    if (a == b)
        return a;
    if (a == 0 || b == 0)
        return 0;
    return a < b ? intern(exprs, RL_X_MIN, a, b) : intern(exprs, RL_X_MIN, b, a);
}

static int expr_max(rl_exprs *exprs, int a, int b)
{
    if (a == b || b == 0)
        return a;
    if (a == 0)
        return b;
    return a < b ? intern(exprs, RL_X_MAX, a, b) : intern(exprs, RL_X_MAX, b, a);
}

int rl_expr_element(rl_exprs *exprs, const rl_world *world, int element)
{
    if (rl_world_forces(world, element))
        return 0;
    bool load = exprs->frame->model->node[element].info.sort == RL_LOAD;
    return intern(exprs, load ? RL_X_LOAD : RL_X_ELEMENT, element, 0);
}

static int calm(rl_exprs *exprs, int a)
{
    return a == 0 || exprs->at[a].calm ? a : intern(exprs, RL_X_CALM, a, 0);
}

int rl_expr_worst(rl_exprs *exprs, const rl_world *world, const int *element, int count)
{
    int worst = 0;
    for (int i = count; i-- > 0;)
        worst = expr_max(exprs, rl_expr_element(exprs, world, element[i]), worst);
    return worst;
}

/* ---- returns ---- */

static int returns(rl_exprs *exprs, rl_world *world, int element, int cut, int *memo);

/* What follows an element on its ways to the battery, with a cut (-1: none). */
static int behind(rl_exprs *exprs, rl_world *world, int element, int cut, int *memo)
{
    const rl_node *node = &exprs->frame->model->node[element];
    int best = node->way_count == 0 ? 0 : -1;
    for (int w = 0; w < node->way_count; w++) {
        const rl_alternative *way = &node->way[w];
        int first = way->via_count;   /* vias before the cut count, it and the rest do not */
        for (int v = 0; v < way->via_count && first == way->via_count; v++)
            if (way->via[v] == cut)
                first = v;
        int worst = 0;
        if (first == way->via_count && way->parent >= 0)
            worst = returns(exprs, world, way->parent, cut, memo);
        for (int v = first; v-- > 0;)
            worst = expr_max(exprs, rl_expr_element(exprs, world, way->via[v]), worst);
        best = best < 0 ? worst : expr_min(exprs, best, worst);
    }
    return best;
}

/* R with a cut; `memo` holds what is known of each element. */
static int returns(rl_exprs *exprs, rl_world *world, int element, int cut, int *memo)
{
    if (element == cut)
        return 0;
    if (memo[element] < 0) {
        int rest = behind(exprs, world, element, cut, memo);
        memo[element] = expr_max(exprs, rl_expr_element(exprs, world, element), rest);
    }
    return memo[element];
}

int rl_expr_return(rl_exprs *exprs, rl_world *world, int element)
{
    return returns(exprs, world, element, -1, world->of_return);
}

int rl_expr_return_cut(rl_exprs *exprs, rl_world *world, int element, int cut)
{
    int nodes = exprs->frame->model->nodes;
    int *memo = rl_raw(exprs->arena, nodes, int);
    memset(memo, -1, (size_t)nodes * sizeof *memo);
    return returns(exprs, world, element, cut, memo);
}

/* ---- feeds ---- */

static int feed_of(rl_exprs *exprs, rl_world *world, int feed);

static int feed_way(rl_exprs *exprs, rl_world *world, const rl_alternative *way)
{
    int worst = way->parent >= 0 ? feed_of(exprs, world, way->parent) : 0;
    for (int v = way->via_count; v-- > 0;)
        worst = expr_max(exprs, rl_expr_element(exprs, world, way->via[v]), worst);
    return worst;
}

int rl_expr_load_feed(rl_exprs *exprs, rl_world *world, int load)
{
    return feed_way(exprs, world, &exprs->frame->model->node[load].feed);
}

static int coil_word(rl_exprs *exprs, rl_world *world, int coil)
{
    int own = rl_expr_element(exprs, world, coil);
    int failed = own == 0 ? 0 : intern(exprs, RL_X_FAILED, own, 0);
    int back = calm(exprs, rl_expr_return(exprs, world, exprs->frame->model->node[coil].info.wire));
    int fed = calm(exprs, rl_expr_load_feed(exprs, world, coil));
    return expr_max(exprs, failed, expr_max(exprs, back, fed));
}

/* F(feed, world) */
static int feed_of(rl_exprs *exprs, rl_world *world, int feed)
{
    if (world->of_feed[feed] >= 0)
        return world->of_feed[feed];
    const rl_node *node = &exprs->frame->model->node[feed];
    int worst = node->way_count ? feed_way(exprs, world, &node->way[0]) : 0;
    if (node->coil >= 0)
        worst = expr_max(exprs, coil_word(exprs, world, node->coil), worst);
    int own = rl_expr_element(exprs, world, feed);
    world->of_feed[feed] = expr_max(exprs, own, worst);
    return world->of_feed[feed];
}

int rl_expr_behind(rl_exprs *exprs, rl_world *world, int element)
{
    const rl_node *node = &exprs->frame->model->node[element];
    if (node->info.sort != RL_FEED)
        return behind(exprs, world, element, -1, world->of_return);
    return node->way_count > 0 ? feed_way(exprs, world, &node->way[0]) : 0;
}

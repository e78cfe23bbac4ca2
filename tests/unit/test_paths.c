/* test_paths.c: the shape of returns and feeds against plain enumeration of
 * all return paths, on drawn vehicles and on ones made by hand.
 */
#include "../../engine/paths.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

/* ---- a vehicle made by hand ---- */

enum { MOST_NODES = 400, MOST_WAYS = 4 };

typedef struct vehicle {
    rl_model model;
    rl_node node[MOST_NODES];
    rl_alternative way[MOST_NODES][MOST_WAYS];
    int via[MOST_NODES][MOST_WAYS + 1][4];
    jmp_buf bail;
} vehicle;

static void *take(void *user, size_t size)
{
    (void)user;
    return malloc(size);
}

static void give(void *user, void *piece)
{
    (void)user;
    free(piece);
}

static vehicle *begin(void)
{
    vehicle *v = calloc(1, sizeof *v);
    assert_non_null(v);
    const rl_allocator memory = { take, give, NULL };
    rl_arena_init(&v->model.arena, &memory, 0);
    v->model.node = v->node;
    return v;
}

static void end(vehicle *v)
{
    rl_arena_free(&v->model.arena);
    free(v);
}

/* The test ends where memory does. */
static void survey(vehicle *v)
{
    if (setjmp(v->bail) != 0)
        fail_msg("out of memory");
    v->model.arena.bail = &v->bail;
    rl_paths(&v->model);
}

static int add(vehicle *v, rl_sort sort)
{
    int i = v->model.nodes++;
    assert_true(i < MOST_NODES);
    v->node[i] = (rl_node){ .info = { .sort = sort, .wire = -1, .load = -1, .kind = -1 },
                            .way = v->way[i], .coil = -1, .feed = { .parent = -1 } };
    return i;
}

static int add_load(vehicle *v)
{
    int load = add(v, RL_LOAD), wire = add(v, RL_WIRE);
    v->node[load].info.wire = wire;
    v->node[wire].info.load = load;
    return load;
}

/* One more way from `from` to `parent`; via: up to three connectors, -1 for none. */
static void join(vehicle *v, int from, int parent, int via, int via2, double conductor)
{
    int w = v->node[from].way_count++, count = 0;
    assert_true(w < MOST_WAYS);
    if (via >= 0)
        v->via[from][w][count++] = via;
    if (via2 >= 0)
        v->via[from][w][count++] = via2;
    v->way[from][w] = (rl_alternative){ parent, count, v->via[from][w], conductor };
}

static void feed_by(vehicle *v, int load, int feed, int via)
{
    v->via[load][MOST_WAYS][0] = via;
    v->node[load].feed = (rl_alternative){ feed, via >= 0, v->via[load][MOST_WAYS], 0 };
}

static bool holds(const int *list, int count, int element)
{
    for (int i = 0; i < count; i++)
        if (list[i] == element)
            return true;
    return false;
}

static void same_list(const int *list, int count, int n, ...)
{
    va_list want;
    assert_int_equal(count, n);
    va_start(want, n);
    for (int i = 0; i < n; i++)
        assert_int_equal(list[i], va_arg(want, int));
    va_end(want);
}

/* ---- enumeration: each path as a set of flags ---- */

typedef struct tally {
    const vehicle *v;
    int paths, passed[MOST_NODES];
    bool on[MOST_NODES];
    int ends[MOST_NODES];
} tally;

static void every_path(tally *t, int at)
{
    const rl_node *node = &t->v->node[at];
    bool before = t->on[at];
    t->on[at] = true;
    if (node->way_count == 0) {
        t->paths++;
        t->ends[at]++;
        for (int i = 0; i < t->v->model.nodes; i++)
            t->passed[i] += t->on[i];
    }
    for (int w = 0; w < node->way_count; w++) {
        bool old[4];
        const rl_alternative *way = &node->way[w];
        for (int i = 0; i < way->via_count; i++) {
            old[i] = t->on[way->via[i]];
            t->on[way->via[i]] = true;
        }
        every_path(t, way->parent);
        for (int i = way->via_count; i-- > 0;)
            t->on[way->via[i]] = old[i];
    }
    t->on[at] = before;
}

static tally enumerate(const vehicle *v, int load)
{
    tally t = { .v = v };
    every_path(&t, v->node[load].info.wire);
    return t;
}

static uint64_t draw(uint64_t *seed, uint64_t below)
{
    *seed = *seed * 6364136223846793005u + 1442695040888963407u;
    return (*seed >> 33) % below;
}

/* Connectors 0..3, then points that return through earlier ones, feeds, loads. */
static vehicle *drawn(uint64_t *seed)
{
    vehicle *v = begin();
    for (int i = 0; i < 4; i++)
        add(v, RL_CONNECTOR);
    int first = v->model.nodes, joints = 2 + (int)draw(seed, 9);
    for (int i = 0; i < joints; i++) {
        int joint = add(v, i % 3 ? RL_POINT : RL_SPLICE);
        int ways = i == 0 || (i == 1 && draw(seed, 3) == 0) ? 0 : 1 + (int)draw(seed, 3);
        for (int w = 0; w < ways; w++)
            join(v, joint, first + (int)draw(seed, (uint64_t)i), (int)draw(seed, 8) < 4 ? (int)draw(seed, 4) : -1, -1, 0);
    }
    int feeds = v->model.nodes;
    add(v, RL_FEED);
    add(v, RL_FEED);
    join(v, feeds + 1, feeds, 1, -1, 0);
    for (int i = 0; i < 6; i++) {
        int load = add_load(v), wire = v->node[load].info.wire;
        for (int w = 1 + (int)draw(seed, 2); w > 0; w--)
            join(v, wire, first + (int)draw(seed, (uint64_t)joints), draw(seed, 3) ? -1 : (int)draw(seed, 4), -1, 0);
        if (draw(seed, 4))
            feed_by(v, load, feeds + (int)draw(seed, 2), draw(seed, 2) ? 2 : -1);
    }
    survey(v);
    return v;
}

static void compare_load(const vehicle *v, int load)
{
    tally t = enumerate(v, load);
    int every = 0, ends = 0, last = -1;
    for (int i = 0; i < v->model.nodes; i++) {
        every += t.passed[i] == t.paths;
        assert_int_equal(rl_on_every(&v->model, load, i), t.passed[i] == t.paths);
        assert_int_equal(rl_passes(&v->model, load, i), t.passed[i] > 0);
        if (t.ends[i] > 0)
            last = i;
        ends += t.ends[i] > 0;
    }
    assert_int_equal(v->node[load].on_every_count, every);
    assert_int_equal(v->node[load].on_every[0], v->node[load].info.wire);
    assert_int_equal(rl_last_element(&v->model, load), ends == 1 ? last : -1);
}

/* The sentence of the design, word for word. */
static bool backfeed_shows(const vehicle *v, int a, int b, int element)
{
    int feed = v->node[b].feed.parent;
    if (!rl_on_every(&v->model, a, element) || !rl_on_every(&v->model, b, element) || feed < 0)
        return false;
    for (int x = 0; x < v->model.nodes; x++)
        if (v->node[x].info.sort == RL_LOAD && x != a && x != b && v->node[x].feed.parent == feed &&
            enumerate(v, x).passed[element] == 0)
            return true;
    return false;
}

static void compare_pair(vehicle *v, int a, int b)
{
    int backfeed, shared, feeds;
    const int *back = rl_backfeed_set(&v->model.arena, &v->model, a, b, &backfeed);
    const int *both = rl_shared_returns(&v->model.arena, &v->model, a, b, &shared);
    const int *fed = rl_shared_feeds(&v->model.arena, &v->model, a, b, &feeds);
    const rl_node *one = &v->node[a], *two = &v->node[b];
    for (int i = 0; i < v->model.nodes; i++) {
        assert_int_equal(holds(back, backfeed, i), backfeed_shows(v, a, b, i));
        assert_int_equal(holds(both, shared, i), rl_on_every(&v->model, a, i) && rl_on_every(&v->model, b, i));
        assert_int_equal(holds(fed, feeds, i), holds(one->feed_chain, one->feed_chain_count, i) &&
                                                   holds(two->feed_chain, two->feed_chain_count, i));
    }
}

static void drawn_vehicles(void **state)
{
    (void)state;
    uint64_t seed = 20310517;
    for (int round = 0; round < 300; round++) {
        vehicle *v = drawn(&seed);
        for (int a = 0; a < v->model.nodes; a++) {
            if (v->node[a].info.sort != RL_LOAD)
                continue;
            compare_load(v, a);
            for (int b = 0; b < v->model.nodes; b++)
                if (v->node[b].info.sort == RL_LOAD && b != a)
                    compare_pair(v, a, b);
        }
        end(v);
    }
}

/* ---- by hand ---- */

/* load - wire - s - (p via c | q via c) - post.  Names by letters. */
typedef struct small { int c, d, post, p, q, s, load, wire; } small;

static small fork_via_one_connector(vehicle *v)
{
    small m;
    m.c = add(v, RL_CONNECTOR);
    m.d = add(v, RL_CONNECTOR);
    m.post = add(v, RL_POINT);
    m.p = add(v, RL_POINT);
    m.q = add(v, RL_POINT);
    m.s = add(v, RL_SPLICE);
    m.load = add_load(v);
    m.wire = v->node[m.load].info.wire;
    join(v, m.p, m.post, m.d, -1, 1);
    join(v, m.q, m.post, -1, -1, 2);
    join(v, m.s, m.p, m.c, -1, 3);
    join(v, m.s, m.q, m.c, -1, 4);
    join(v, m.wire, m.s, -1, -1, 5);
    survey(v);
    return m;
}

static void a_connector_on_both_ways(void **state)
{
    (void)state;
    vehicle *v = begin();
    small m = fork_via_one_connector(v);
    same_list(v->node[m.load].on_every, v->node[m.load].on_every_count, 4, m.wire, m.s, m.c, m.post);
    assert_true(v->node[m.c].in_return && !v->node[m.c].in_feed);
    assert_int_equal(rl_last_element(&v->model, m.load), m.post);
    end(v);
}

static void span_of_two_ways(void **state)
{
    (void)state;
    vehicle *v = begin();
    small m = fork_via_one_connector(v);
    rl_stretch span;
    assert_int_equal(rl_stretch_make(&v->model.arena, &v->model, m.load, -1, -1, false, &span), RL_STRETCH_OK);
    assert_int_equal(span.ways, 2);
    assert_int_equal(span.before_count, 0);
    assert_int_equal(span.to, -1);
    same_list(span.way[0].element, span.way[0].count, 6, m.wire, m.s, m.c, m.p, m.d, m.post);
    same_list(span.way[1].element, span.way[1].count, 5, m.wire, m.s, m.c, m.q, m.post);
    const double first[] = { 5, 3, 0, 1, 0, 0 }, second[] = { 5, 4, 0, 2, 0 };
    assert_memory_equal(span.way[0].conductor, first, sizeof first);
    assert_memory_equal(span.way[1].conductor, second, sizeof second);
    end(v);
}

static void dead_span_leaves_the_post_out(void **state)
{
    (void)state;
    vehicle *v = begin();
    small m = fork_via_one_connector(v);
    rl_stretch span;
    assert_int_equal(rl_stretch_make(&v->model.arena, &v->model, m.load, m.s, -1, true, &span), RL_STRETCH_OK);
    assert_int_equal(span.to, m.post);
    same_list(span.before, span.before_count, 1, m.wire);
    same_list(span.way[0].element, span.way[0].count, 4, m.s, m.c, m.p, m.d);
    same_list(span.way[1].element, span.way[1].count, 3, m.s, m.c, m.q);
    assert_int_equal(rl_stretch_make(&v->model.arena, &v->model, m.load, m.post, -1, true, &span), RL_STRETCH_ORDER);
    assert_int_equal(rl_stretch_make(&v->model.arena, &v->model, m.load, m.s, m.c, true, &span), RL_STRETCH_OK);
    same_list(span.way[0].element, span.way[0].count, 1, m.s);
    end(v);
}

static void ends_that_cannot_be(void **state)
{
    (void)state;
    vehicle *v = begin();
    small m = fork_via_one_connector(v);
    rl_arena *arena = &v->model.arena;
    rl_stretch span;
    assert_int_equal(rl_stretch_make(arena, &v->model, m.load, m.p, -1, false, &span), RL_STRETCH_FROM);
    assert_int_equal(rl_stretch_make(arena, &v->model, m.load, -1, m.q, false, &span), RL_STRETCH_TO);
    assert_int_equal(rl_stretch_make(arena, &v->model, m.load, m.c, -1, false, &span), RL_STRETCH_FORK);
    assert_int_equal(rl_stretch_make(arena, &v->model, m.load, m.post, -1, false, &span), RL_STRETCH_FORK);
    assert_int_equal(rl_stretch_make(arena, &v->model, m.load, m.s, m.wire, false, &span), RL_STRETCH_ORDER);
    assert_int_equal(rl_stretch_make(arena, &v->model, m.load, -1, m.wire, false, &span), RL_STRETCH_ORDER);
    end(v);
}

/* wire via c to p, p via c to post: c counts where it is met first. */
static void a_connector_met_twice(void **state)
{
    (void)state;
    vehicle *v = begin();
    int c = add(v, RL_CONNECTOR), post = add(v, RL_POINT), p = add(v, RL_POINT), load = add_load(v);
    int wire = v->node[load].info.wire;
    join(v, wire, p, c, -1, 1);
    join(v, p, post, c, -1, 2);
    survey(v);
    rl_stretch span;
    same_list(v->node[load].on_every, v->node[load].on_every_count, 4, wire, c, p, post);
    assert_int_equal(rl_stretch_make(&v->model.arena, &v->model, load, -1, -1, false, &span), RL_STRETCH_OK);
    same_list(span.way[0].element, span.way[0].count, 4, wire, c, p, post);
    assert_int_equal(rl_stretch_make(&v->model.arena, &v->model, load, c, p, false, &span), RL_STRETCH_OK);
    same_list(span.way[0].element, span.way[0].count, 1, c);
    same_list(span.before, span.before_count, 1, wire);
    assert_int_equal(rl_stretch_make(&v->model.arena, &v->model, load, p, -1, false, &span), RL_STRETCH_OK);
    same_list(span.way[0].element, span.way[0].count, 2, p, post);
    assert_int_equal(rl_stretch_make(&v->model.arena, &v->model, load, p, c, false, &span), RL_STRETCH_ORDER);
    end(v);
}

/* A chain of `rungs` points, each with two ways to the next: 2^rungs paths. */
static int ladder(vehicle *v, int rungs)
{
    int below = add(v, RL_POINT);
    for (int i = 0; i < rungs; i++) {
        int left = add(v, RL_POINT), right = add(v, RL_POINT), top = add(v, RL_POINT);
        join(v, left, below, -1, -1, 0);
        join(v, right, below, -1, -1, 0);
        join(v, top, left, -1, -1, 0);
        join(v, top, right, -1, -1, 0);
        below = top;
    }
    int load = add_load(v);
    join(v, v->node[load].info.wire, below, -1, -1, 0);
    survey(v);
    return load;
}

static void sixteen_ways_and_no_more(void **state)
{
    (void)state;
    rl_stretch span;
    vehicle *v = begin();
    int load = ladder(v, 4);
    assert_int_equal(rl_stretch_make(&v->model.arena, &v->model, load, -1, -1, false, &span), RL_STRETCH_OK);
    assert_int_equal(span.ways, 16);
    /* in the order declared: the fork nearest to the battery turns first */
    assert_int_equal(span.way[0].element[8], 1);
    assert_int_equal(span.way[1].element[8], 2);
    assert_int_equal(span.way[7].element[2], 10);
    assert_int_equal(span.way[8].element[2], 11);
    end(v);
    v = begin();
    load = ladder(v, 5);
    assert_int_equal(rl_stretch_make(&v->model.arena, &v->model, load, -1, -1, false, &span), RL_STRETCH_WAYS);
    end(v);
}

/* 2^100 paths: only what does not enumerate them comes back. */
static void a_hundred_rungs(void **state)
{
    (void)state;
    vehicle *v = begin();
    int load = ladder(v, 100);
    assert_int_equal(v->node[load].on_every_count, 102);
    for (int i = 0; i < v->model.nodes; i++)
        assert_int_equal(rl_passes(&v->model, load, i), i != load);
    end(v);
}

/* Relay: the coil of f's feed, its return and its own feed are depended on. */
static void what_a_load_depends_on(void **state)
{
    (void)state;
    vehicle *v = begin();
    int post = add(v, RL_POINT), p = add(v, RL_POINT), far = add(v, RL_POINT), c = add(v, RL_CONNECTOR);
    int f = add(v, RL_FEED), main_feed = add(v, RL_FEED), coil_feed = add(v, RL_FEED);
    int load = add_load(v), coil = add_load(v), apart = add_load(v);
    join(v, p, post, -1, -1, 0);
    join(v, far, post, -1, -1, 0);
    join(v, f, main_feed, -1, -1, 0);
    join(v, v->node[load].info.wire, post, -1, -1, 0);
    join(v, v->node[coil].info.wire, p, -1, -1, 0);
    join(v, v->node[apart].info.wire, far, -1, -1, 0);
    feed_by(v, load, f, c);
    feed_by(v, coil, coil_feed, -1);
    v->node[f].coil = coil;
    survey(v);
    bool mark[MOST_NODES] = { false };
    rl_mark_load(&v->model.arena, &v->model, load, mark);
    const bool want[] = { [0] = true, [1] = true, [3] = true, [4] = true, [5] = true, [6] = true,
                          [7] = true, [8] = true, [9] = true, [10] = true, [11] = false, [12] = false };
    assert_int_equal(v->model.nodes, 13);
    assert_memory_equal(mark, want, sizeof want);
    /* what is marked already, for another reason, hides nothing */
    memset(mark, 0, sizeof mark);
    mark[coil] = mark[f] = true;
    rl_mark_load(&v->model.arena, &v->model, load, mark);
    assert_memory_equal(mark, want, sizeof want);
    same_list(v->node[load].feed_chain, v->node[load].feed_chain_count, 3, c, f, main_feed);
    assert_true(v->node[c].in_feed && !v->node[c].in_return);
    end(v);
}

/* Two posts: there is no last element, and a dead span needs its `to`. */
static void two_ends(void **state)
{
    (void)state;
    vehicle *v = begin();
    int post = add(v, RL_POINT), other = add(v, RL_POINT), s = add(v, RL_SPLICE), load = add_load(v);
    rl_stretch span;
    join(v, s, post, -1, -1, 0);
    join(v, s, other, -1, -1, 0);
    join(v, v->node[load].info.wire, s, -1, -1, 0);
    survey(v);
    assert_int_equal(rl_last_element(&v->model, load), -1);
    assert_int_equal(rl_stretch_make(&v->model.arena, &v->model, load, -1, -1, true, &span), RL_STRETCH_END);
    assert_int_equal(rl_stretch_make(&v->model.arena, &v->model, load, -1, s, true, &span), RL_STRETCH_OK);
    assert_int_equal(rl_stretch_make(&v->model.arena, &v->model, load, -1, -1, false, &span), RL_STRETCH_OK);
    assert_int_equal(span.ways, 2);
    end(v);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(drawn_vehicles),           cmocka_unit_test(a_connector_on_both_ways),
        cmocka_unit_test(span_of_two_ways),         cmocka_unit_test(dead_span_leaves_the_post_out),
        cmocka_unit_test(ends_that_cannot_be),      cmocka_unit_test(a_connector_met_twice),
        cmocka_unit_test(sixteen_ways_and_no_more), cmocka_unit_test(a_hundred_rungs),
        cmocka_unit_test(what_a_load_depends_on),   cmocka_unit_test(two_ends),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}

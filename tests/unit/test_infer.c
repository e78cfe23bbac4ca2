/* test_infer.c: exact inference on nets whose answers are known by hand.
 *
 * Expected values come from closed formulas written beside them: sums over
 * counts for nets of equal variables, powers for long chains, logarithms for
 * what doubles cannot hold.
 */
#include "infer.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* ---- memory: counted, and failing on demand ---- */

typedef struct piece_supply {
    size_t taken;        /* pieces so far */
    size_t fails_at;     /* this piece is not given; 0: all are */
    size_t out;          /* not yet given back */
} piece_supply;

static void *take(void *user, size_t size)
{
    piece_supply *from = user;
    if (++from->taken == from->fails_at)
        return NULL;
    void *piece = malloc(size);
    from->out += piece != NULL;
    return piece;
}

static void give(void *user, void *piece)
{
    piece_supply *from = user;
    from->out--;
    free(piece);
}

typedef struct fixture {
    rl_arena arena;
    piece_supply supply;
    jmp_buf bail;
    rl_net *net;
    rl_tree *tree;
} fixture;

/* No test but that of failing memory comes back to `bail`. */
static int set_up(void **state)
{
    fixture *fix = calloc(1, sizeof *fix);
    if (fix == NULL)
        return -1;
    rl_allocator allocator = {take, give, &fix->supply};
    rl_arena_init(&fix->arena, &allocator, 0);
    fix->net = rl_net_new(&fix->arena);
    *state = fix;
    return 0;
}

static int tear_down(void **state)
{
    fixture *fix = *state;
    rl_arena_free(&fix->arena);
    int left = fix->supply.out != 0;
    free(fix);
    return left;
}

static void compile(fixture *fix)
{
    fix->tree = rl_tree_make(&fix->arena, fix->net, rl_plan_make(&fix->arena, fix->net));
}

static double solve(fixture *fix)
{
    compile(fix);
    double total = rl_tree_collect(fix->tree);
    if (total > -INFINITY)
        rl_tree_distribute(fix->tree);
    return total;
}

static void assert_near(double got, double expected, double tolerance)
{
    if (!(fabs(got - expected) <= tolerance * fmax(1, fabs(expected))))
        fail_msg("got %.17g, expected %.17g", got, expected);
}

static double marginal(const fixture *fix, int variable, int value)
{
    double out[16];
    rl_tree_marginal(fix->tree, variable, out);
    return out[value];
}

/* ---- small nets ---- */

static void nothing_at_all(void **state)
{
    fixture *fix = *state;
    assert_int_equal(rl_net_variables(fix->net), 0);
    assert_near(solve(fix), 0, 0);
    rl_net_factor(fix->net, 0, NULL, (double[]){0.25});
    rl_net_factor(fix->net, 0, NULL, (double[]){3});
    assert_near(solve(fix), log(0.75), 1e-15);
    double whole;
    rl_tree_joint(fix->tree, &fix->arena, 0, NULL, &whole);
    assert_near(whole, 1, 0);
    rl_net_factor(fix->net, 0, NULL, (double[]){0});
    assert_true(solve(fix) == -INFINITY);
}

static void two_variables(void **state)
{
    fixture *fix = *state;
    int a = rl_net_variable(fix->net, 2), b = rl_net_variable(fix->net, 3);
    assert_int_equal(rl_net_size(fix->net, b), 3);
    rl_net_factor(fix->net, 2, (int[]){a, b}, (double[]){1, 2, 3, 4, 5, 6});
    rl_net_factor(fix->net, 2, (int[]){b, a}, (double[]){1, 1, 2, 1, 1, 0});   /* the other way round */
    /* products: a=0: 1 4 3, a=1: 4 5 0 */
    assert_near(solve(fix), log(17), 1e-15);
    assert_near(marginal(fix, a, 0), 8.0 / 17, 1e-15);
    assert_near(marginal(fix, b, 2), 3.0 / 17, 1e-15);
    double joint[6];
    rl_tree_joint(fix->tree, &fix->arena, 2, (int[]){b, a}, joint);
    const double expected[] = {1, 4, 4, 5, 3, 0};
    for (int i = 0; i < 6; i++)
        assert_near(joint[i], expected[i] / 17, 1e-15);
}

/* A variable in no factor is uniform, and multiplies the sum by its size. */
static void loose_ends(void **state)
{
    fixture *fix = *state;
    int a = rl_net_variable(fix->net, 1), b = rl_net_variable(fix->net, 4), c = rl_net_variable(fix->net, 1);
    rl_net_factor(fix->net, 2, (int[]){c, a}, (double[]){0.5});
    assert_near(solve(fix), log(2), 1e-15);
    assert_near(marginal(fix, a, 0), 1, 0);
    assert_near(marginal(fix, b, 3), 0.25, 1e-15);
    double joint[4];
    rl_tree_joint(fix->tree, &fix->arena, 3, (int[]){a, b, c}, joint);
    assert_near(joint[1], 0.25, 1e-15);
}

static void weights_come_and_go(void **state)
{
    fixture *fix = *state;
    int a = rl_net_variable(fix->net, 2), b = rl_net_variable(fix->net, 2);
    rl_net_factor(fix->net, 1, &a, (double[]){0.9, 0.1});
    rl_net_factor(fix->net, 2, (int[]){a, b}, (double[]){0.8, 0.2, 0.4, 0.6});
    assert_near(solve(fix), 0, 1e-15);
    rl_tree_weigh(fix->tree, b, (double[]){0, 1});
    assert_near(rl_tree_collect(fix->tree), log(0.24), 1e-15);
    rl_tree_distribute(fix->tree);
    assert_near(marginal(fix, a, 1), 0.25, 1e-15);
    rl_tree_weigh(fix->tree, b, (double[]){0, 0});
    assert_true(rl_tree_collect(fix->tree) == -INFINITY);
    rl_tree_weigh(fix->tree, b, (double[]){2, 0});
    assert_near(rl_tree_collect(fix->tree), log(1.52), 1e-15);
    rl_tree_weigh(fix->tree, b, NULL);
    assert_near(rl_tree_collect(fix->tree), 0, 1e-15);
    rl_tree_distribute(fix->tree);
    assert_near(marginal(fix, b, 1), 0.24, 1e-15);
}

static void contradiction(void **state)
{
    fixture *fix = *state;
    int a = rl_net_variable(fix->net, 2), b = rl_net_variable(fix->net, 2);
    rl_net_factor(fix->net, 2, (int[]){a, b}, (double[]){1, 0, 0, 1});   /* equal */
    compile(fix);
    rl_tree_weigh(fix->tree, a, (double[]){1, 0});
    rl_tree_weigh(fix->tree, b, (double[]){0, 1});
    assert_true(rl_tree_collect(fix->tree) == -INFINITY);
    rl_tree_weigh(fix->tree, b, (double[]){1, 1e-9});
    assert_near(rl_tree_collect(fix->tree), 0, 1e-15);
    rl_tree_distribute(fix->tree);
    assert_near(marginal(fix, b, 0), 1, 0);
}

/* ---- what doubles cannot hold ---- */

enum { FINDINGS = 500 };

static void many_findings(void **state)
{
    static const double law[] = {0.999, 1e-3, 0.9989, 1.1e-3}, is_seen[] = {0, 1};
    fixture *fix = *state;
    int cause = rl_net_variable(fix->net, 2);
    rl_net_factor(fix->net, 1, &cause, (double[]){0.99, 0.01});
    for (int i = 0; i < FINDINGS; i++) {
        int seen = rl_net_variable(fix->net, 2);
        rl_net_factor(fix->net, 2, (int[]){cause, seen}, law);
        rl_net_factor(fix->net, 1, &seen, is_seen);
    }
    double odds = 99 * pow(1 / 1.1, FINDINGS);
    assert_near(solve(fix), FINDINGS * log(1.1e-3) + log(0.01) + log1p(odds), 1e-13);
    assert_near(marginal(fix, cause, 0), odds / (1 + odds), 1e-13);
}

/* First one value of the cause is pushed to 1e-480, then the other. */
static void push_and_pull(void **state)
{
    static const double down[] = {1, 1e-3}, up[] = {1e-3, 1};
    fixture *fix = *state;
    int cause = rl_net_variable(fix->net, 2);
    for (int i = 0; i < 320; i++)
        rl_net_factor(fix->net, 1, &cause, i < 160 ? down : up);
    assert_near(solve(fix), 160 * log(1e-3) + log(2), 1e-13);
    assert_near(marginal(fix, cause, 0), 0.5, 1e-10);
}

/* 600 good loads speak against what one certain finding then proves: the state
 * that underflows on its way through a chain of copies is the only one left. */
static void the_lost_one_wins(void **state)
{
    static const double same[] = {1, 0, 0, 1}, good[] = {1, 0.02}, prior[] = {0.996, 0.004};
    fixture *fix = *state;
    int copy[6];
    for (int i = 0; i < 6; i++) {
        copy[i] = rl_net_variable(fix->net, 2);
        if (i > 0)
            rl_net_factor(fix->net, 2, (int[]){copy[i - 1], copy[i]}, same);
        for (int j = 0; j < 100; j++)
            rl_net_factor(fix->net, 1, &copy[i], good);
    }
    rl_net_factor(fix->net, 1, &copy[0], prior);
    compile(fix);
    for (int i = 0; i < 6; i++) {
        rl_tree_weigh(fix->tree, copy[i], (double[]){0, 0.6});
        assert_near(rl_tree_collect(fix->tree), 600 * log(0.02) + log(0.004 * 0.6), 1e-13);
        rl_tree_distribute(fix->tree);
        for (int j = 0; j < 6; j++)
            assert_near(marginal(fix, copy[j], 1), 1, 1e-12);
        rl_tree_weigh(fix->tree, copy[i], NULL);
        assert_near(rl_tree_collect(fix->tree), log(0.996), 1e-13);
    }
}

/* ---- long and wide ---- */

/* A symmetric chain: P(same end) = (1 + (1 - 2p)^n) / 2. */
static void long_chain(void **state)
{
    enum { LENGTH = 1500 };
    static const double step[] = {0.999, 0.001, 0.001, 0.999};
    fixture *fix = *state;
    for (int i = 0; i < LENGTH; i++) {
        rl_net_variable(fix->net, 2);
        if (i > 0)
            rl_net_factor(fix->net, 2, (int[]){i, i - 1}, step);
    }
    rl_net_factor(fix->net, 1, (int[]){0}, (double[]){1, 0});
    assert_near(solve(fix), 0, 1e-12);
    for (int i = 0; i < LENGTH; i += 100)
        assert_near(marginal(fix, i, 0), (1 + pow(0.998, i)) / 2, 1e-12);
    double ends[4];
    rl_tree_joint(fix->tree, &fix->arena, 2, (int[]){1400, 100}, ends);
    assert_near(ends[1], (1 - pow(0.998, 100)) / 2 * (1 - pow(0.998, 1300)) / 2, 1e-12);
}

/* All pairs of n binary variables weigh q if both are 1: the sum is that of
 * C(n, k) q^(k(k-1)/2), and no order makes less than one table of 2^n. */
static void wide_clique(void **state)
{
    enum { N = 21 };
    static const double pair[] = {1, 1, 1, 0.8};
    fixture *fix = *state;
    const double q = pair[3];
    for (int i = 0; i < N; i++) {
        rl_net_variable(fix->net, 2);
        for (int j = 0; j < i; j++)
            rl_net_factor(fix->net, 2, (int[]){j, i}, pair);
    }
    double sum = 0, ones = 0, pairs = 0, ways = 1;
    for (int k = 0; k <= N; k++) {
        double term = ways * pow(q, k * (k - 1) / 2);
        sum += term;
        ones += k * term;
        pairs += k * (k - 1) * term;
        ways = ways * (N - k) / (k + 1);
    }
    rl_plan *plan = rl_plan_make(&fix->arena, fix->net);
    assert_int_equal(rl_plan_width(plan), N);
    assert_true(rl_plan_cells(plan) > 1 << N);
    fix->tree = rl_tree_make(&fix->arena, fix->net, plan);
    assert_true((double)fix->arena.used < 8 * rl_plan_cells(plan) + (1 << 21));   /* two chunks of the arena */
    assert_true(fix->arena.used < (size_t)100 << 20);
    assert_near(rl_tree_collect(fix->tree), log(sum), 1e-12);
    rl_tree_distribute(fix->tree);
    for (int i = 0; i < N; i++)
        assert_near(marginal(fix, i, 1), ones / sum / N, 1e-12);
    double joint[4];
    rl_tree_joint(fix->tree, &fix->arena, 2, (int[]){17, 3}, joint);
    assert_near(joint[3], pairs / sum / N / (N - 1), 1e-12);
    /* the passes have used the large tables up: they are made again */
    rl_tree_weigh(fix->tree, 8, (double[]){0, 1});
    assert_near(rl_tree_collect(fix->tree), log(ones / N), 1e-12);
    rl_tree_distribute(fix->tree);
    assert_near(marginal(fix, 11, 1), pairs / ones / (N - 1), 1e-12);
}

/* A plan says what a net would cost before any table is made. */
static void beyond_all_bounds(void **state)
{
    enum { N = 1200 };
    static const double pair[81] = {1};
    fixture *fix = *state;
    for (int i = 0; i < N; i++) {
        rl_net_variable(fix->net, 9);
        for (int j = i % 3; j < i; j += 3)
            rl_net_factor(fix->net, 2, (int[]){j, i}, pair);
    }
    rl_plan *plan = rl_plan_make(&fix->arena, fix->net);
    assert_true(isfinite(rl_plan_cells(plan)));
    assert_true(rl_plan_cells(plan) >= 1e100);
    assert_true(fix->arena.used < (size_t)64 << 20);
    fix->arena.bail = &fix->bail;
    if (setjmp(fix->bail) == 0) {
        rl_tree_make(&fix->arena, fix->net, plan);
        fail_msg("a tree of that size was made");
    }
}

/* ---- queries ---- */

/* Two parts of a net that do not touch, and an extra variable on both. */
static void query_across(void **state)
{
    fixture *fix = *state;
    int a = rl_net_variable(fix->net, 2), b = rl_net_variable(fix->net, 3);
    rl_net_factor(fix->net, 1, &a, (double[]){0.3, 0.7});
    rl_net_factor(fix->net, 1, &b, (double[]){0.5, 0.3, 0.2});
    solve(fix);
    double law[12] = {1, 0, 0, 1, 0, 1, 0, 1, 0, 1, 0, 1};   /* 0 only for a = b = 0 */
    rl_extension extension = {.variables = 1, .size = (int[]){2}, .tables = 1, .target = 2,
                              .table = &(rl_table){3, (int[]){a, b, 2}, law}};
    double out[6];
    rl_tree_query(fix->tree, &fix->arena, &extension, out);
    assert_near(out[0], 0.15, 1e-15);
    assert_near(out[1], 0.85, 1e-15);
    rl_tree_joint(fix->tree, &fix->arena, 2, (int[]){b, a}, out);
    assert_near(out[2], 0.3 * 0.3, 1e-15);
}

/* An extra variable that touches no net variable, and scratch given back. */
static void query_alone(void **state)
{
    fixture *fix = *state;
    int a = rl_net_variable(fix->net, 2);
    rl_net_factor(fix->net, 1, &a, (double[]){1, 3});
    solve(fix);
    size_t used = fix->arena.used;
    rl_extension extension = {.variables = 2, .size = (int[]){3, 1}, .tables = 2, .target = 1,
                              .table = (rl_table[]){{1, (int[]){1}, (double[]){0.2, 0.3, 0.5}},
                                                    {1, (int[]){2}, (double[]){1}}}};
    double out[3];
    rl_tree_query(fix->tree, &fix->arena, &extension, out);
    assert_near(out[2], 0.5, 1e-15);
    extension.target = 2;
    rl_tree_query(fix->tree, &fix->arena, &extension, out);
    assert_near(out[0], 1, 0);
    assert_int_equal(fix->arena.used, used);
}

/* ---- memory fails ---- */

/* A ring with leaves, wide enough for every code path that takes memory. */
static double ring(rl_arena *arena)
{
    enum { N = 40 };
    rl_net *net = rl_net_new(arena);
    for (int i = 0; i < 2 * N; i++)
        rl_net_variable(net, 3);
    for (int i = 0; i < N; i++) {
        static const double law[9] = {0.6, 0.3, 0.1, 0.2, 0.5, 0.3, 0.1, 0.1, 0.8};
        rl_net_factor(net, 2, (int[]){i, (i + 1) % N}, law);
        rl_net_factor(net, 2, (int[]){i, N + i}, law);
    }
    rl_tree *tree = rl_tree_make(arena, net, rl_plan_make(arena, net));
    double total = rl_tree_collect(tree), out[9];
    rl_tree_distribute(tree);
    rl_tree_joint(tree, arena, 2, (int[]){N, N + N / 2}, out);
    return total + out[3];
}

/* Whether the ring could be solved with the k-th piece missing, or within a limit. */
static bool ring_fits(size_t fails_at, size_t limit)
{
    piece_supply from = {.fails_at = fails_at};
    rl_allocator allocator = {take, give, &from};
    rl_arena arena;
    jmp_buf bail;
    rl_arena_init(&arena, &allocator, limit);
    arena.bail = &bail;
    bool fits = setjmp(bail) == 0;
    if (fits)
        assert_true(isfinite(ring(&arena)));
    rl_arena_free(&arena);
    assert_int_equal(from.out, 0);
    return fits;
}

static void memory_fails(void **state)
{
    (void)state;
    size_t k = 1, limit = 512;
    while (!ring_fits(k, 0))
        assert_true(++k < 10000);
    assert_true(k > 5);
    while (!ring_fits(0, limit))
        assert_true((limit += 512) < (size_t)1 << 20);
    assert_true(limit > 1 << 14);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(nothing_at_all), TEST(two_variables), TEST(loose_ends), TEST(weights_come_and_go),
        TEST(contradiction), TEST(many_findings), TEST(push_and_pull), TEST(the_lost_one_wins),
        TEST(long_chain), TEST(wide_clique), TEST(beyond_all_bounds), TEST(query_across),
        TEST(query_alone), TEST(memory_fails),
    };
    return cmocka_run_group_tests_name("inference", tests, NULL, NULL) != 0;
}

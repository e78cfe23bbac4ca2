/* test_exchange.c: other cells in the same factors of a calibrated tree, against sums over
 * every joint value of small drawn nets.
 *
 * A lift leaves out what cells and weights were divided by, which does not depend on
 * how one variable is held: so two lifts are compared, that variable held in two
 * ways.  RANDOM_SEED and RANDOM_COUNT choose other nets.
 */
#include "drawn_files.h"
#include "infer.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { MOST_VARIABLES = 7, MOST_FACTORS = 10, MOST_SCOPE = 3, MOST_SIZE = 4, MOST_CELLS = 64 };

typedef struct small_factor {
    int count, variable[MOST_SCOPE];
    double cell[2][MOST_CELLS];        /* before and after */
} small_factor;

typedef struct small_net {
    int variables, size[MOST_VARIABLES];
    int factors;
    small_factor factor[MOST_FACTORS];
    int held;                          /* the variable that is held in two ways */
    double way[2][MOST_SIZE];
} small_net;

/* ---- drawing ---- */

static int below(uint64_t *random, int n)
{
    return (int)(draw_next(random) % (uint64_t)n);
}

static double cell_of(uint64_t *random)
{
    if (below(random, 5) == 0)
        return 0;
    return (double)(1 + below(random, 1000)) / 1000 * (below(random, 4) == 0 ? 1e-9 : 1);
}

static bool in_scope(const small_factor *f, int variable)
{
    for (int i = 0; i < f->count; i++)
        if (f->variable[i] == variable)
            return true;
    return false;
}

static void draw_factor(small_net *net, small_factor *f, uint64_t *random)
{
    int cells = 1, count = 1 + below(random, MOST_SCOPE);
    bool other = below(random, 3) == 0;
    f->count = 0;
    for (int i = 0; i < count; i++) {
        int v = below(random, net->variables);
        if (in_scope(f, v))
            continue;
        f->variable[f->count++] = v;
        cells *= net->size[v];
    }
    for (int i = 0; i < cells; i++) {
        f->cell[0][i] = cell_of(random);
        f->cell[1][i] = other ? cell_of(random) : f->cell[0][i];
    }
}

static void draw_net(small_net *net, uint64_t *random)
{
    net->variables = 2 + below(random, MOST_VARIABLES - 1);
    for (int v = 0; v < net->variables; v++)
        net->size[v] = 1 + below(random, MOST_SIZE);
    net->factors = 2 + below(random, MOST_FACTORS - 1);
    for (int f = 0; f < net->factors; f++)
        draw_factor(net, &net->factor[f], random);
    net->held = below(random, net->variables);
    for (int v = 0; v < MOST_SIZE; v++) {
        net->way[0][v] = cell_of(random);
        net->way[1][v] = 0.1 + cell_of(random);
    }
}

/* ---- the sum, value by value ---- */

static double product_at(const small_net *net, const int *value, int turn, int way)
{
    double product = net->way[way][value[net->held]];
    for (int f = 0; f < net->factors; f++) {
        int cell = 0;
        for (int i = 0; i < net->factor[f].count; i++)
            cell = cell * net->size[net->factor[f].variable[i]] + value[net->factor[f].variable[i]];
        product *= net->factor[f].cell[turn][cell];
    }
    return product;
}

static double sum_of(const small_net *net, int turn, int way)
{
    int value[MOST_VARIABLES] = {0};
    double sum = 0;
    for (;;) {
        int v = 0;
        sum += product_at(net, value, turn, way);
        while (v < net->variables && ++value[v] == net->size[v])
            value[v++] = 0;
        if (v == net->variables)
            return sum;
    }
}

/* ---- the tree ---- */

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

static rl_net *net_of(rl_arena *arena, const small_net *small, int turn)
{
    rl_net *net = rl_net_new(arena);
    for (int v = 0; v < small->variables; v++)
        rl_net_variable(net, small->size[v]);
    for (int f = 0; f < small->factors; f++)
        rl_net_factor(net, small->factor[f].count, small->factor[f].variable, small->factor[f].cell[turn]);
    return net;
}

/* All marginals, one behind the other. */
static void marginals(rl_tree *tree, const small_net *net, double *out)
{
    for (int v = 0; v < net->variables; v++, out += MOST_SIZE)
        rl_tree_marginal(tree, v, out);
}

/* Lifts the exchange, with the variable held in one way; then all is as it was. */
static bool lifted(rl_tree *tree, const small_net *net, const rl_net *const turn[2], int way, double *gain)
{
    double before[MOST_VARIABLES * MOST_SIZE] = {0}, after[MOST_VARIABLES * MOST_SIZE] = {0}, back = 0;
    rl_tree_weigh(tree, net->held, net->way[way]);
    if (rl_tree_collect(tree) <= -INFINITY)
        return false;
    rl_tree_distribute(tree);
    marginals(tree, net, before);
    rl_tree_exchange(tree, turn[0], turn[1]);
    if (!rl_tree_lift(tree, gain))
        return false;
    rl_tree_exchange(tree, turn[1], turn[0]);
    assert_true(rl_tree_lift(tree, &back));
    double sum = rl_tree_collect(tree), want = log(sum_of(net, 0, way));
    assert_true(fabs(sum - want) < 1e-10);
    rl_tree_distribute(tree);
    marginals(tree, net, after);
    for (int i = 0; i < MOST_VARIABLES * MOST_SIZE; i++)
        assert_true(fabs(before[i] - after[i]) < 1e-12);
    return true;
}

/* 1: compared; 0: the sum was or became 0, which only the reference has to know. */
static int compare(rl_arena *arena, const small_net *net, uint64_t seed)
{
    double gain[2] = {0, 0}, change[2];
    const rl_net *turn[2] = {net_of(arena, net, 0), net_of(arena, net, 1)};
    rl_tree *tree = rl_tree_make(arena, turn[0], rl_plan_make(arena, turn[0]));
    for (int way = 0; way < 2; way++) {
        double before = sum_of(net, 0, way), after = sum_of(net, 1, way);
        bool done = lifted(tree, net, turn, way, &gain[way]);
        if (!done || !(before > 0) || !(after > 0)) {
            assert_true(!done || (before > 0 && fabs(gain[way]) <= 0));
            return 0;
        }
        change[way] = after / before;
    }
    double got = gain[0] / gain[1], want = change[0] / change[1];
    if (!(fabs(got / want - 1) < 1e-9))
        fail_msg("seed %llu: %.17g, expected %.17g", (unsigned long long)seed, got, want);
    return 1;
}

static void drawn_nets(void **state)
{
    (void)state;
    uint64_t first = drawn_setting("RANDOM_SEED", 1), count = drawn_setting("RANDOM_COUNT", 2000), compared = 0;
    rl_arena arena;
    jmp_buf bail;
    rl_arena_init(&arena, &(rl_allocator){take, give, NULL}, 0);
    arena.bail = &bail;
    if (setjmp(bail))
        fail_msg("no memory");
    for (uint64_t seed = first; seed < first + count; seed++) {
        uint64_t random = seed;
        small_net net;
        rl_mark mark = rl_arena_mark(&arena);
        memset(&net, 0, sizeof net);
        draw_net(&net, &random);
        compared += (uint64_t)compare(&arena, &net, seed);
        rl_arena_rewind(&arena, mark);
    }
    rl_arena_free(&arena);
    assert_true(compared > count / 3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(drawn_nets)};
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}

/* test_infer_random.c: thousands of small random nets against enumeration.
 *
 * The oracle below walks through every assignment of every variable and adds
 * up the products, with nothing shared with the engine but the net's data.
 * Nets have up to nine variables of one to five values, factors of up to four
 * variables in any order, zeros, several components, and soft evidence that is
 * changed between passes.
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

enum { MOST_VARIABLES = 9, MOST_EXTRA = 4, MOST_FACTORS = 14, MOST_ARITY = 4, MOST_SIZE = 5 };
enum { MOST_ALL = MOST_VARIABLES + MOST_EXTRA, MOST_ASSIGNMENTS = 6000, NETS = 4000 };

/* ---- numbers ---- */

typedef struct chance {
    uint64_t state;
} chance;

static uint64_t roll(chance *dice)
{
    dice->state += 0x9e3779b97f4a7c15U;
    uint64_t z = dice->state;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
    return z ^ (z >> 31);
}

static int below(chance *dice, int bound)
{
    return (int)(roll(dice) % (uint64_t)bound);
}

static double uniform(chance *dice)
{
    return (double)(roll(dice) >> 11) * 0x1p-53;
}

/* ---- a net, written down plainly ---- */

typedef struct written_factor {
    int count;
    int variable[MOST_ARITY];
    double cell[MOST_SIZE * MOST_SIZE * MOST_SIZE * MOST_SIZE];
} written_factor;

typedef struct written {
    int variables, extras, factors;
    double magnitude;                        /* of every cell of the net */
    int size[MOST_ALL];                      /* the extra ones last */
    written_factor factor[MOST_FACTORS];     /* of the net */
    int extra_factors;
    written_factor extra[MOST_EXTRA];
    bool weighted[MOST_VARIABLES];
    double weight[MOST_VARIABLES][MOST_SIZE];
} written;

static size_t cells_of(const written *net, const written_factor *factor)
{
    size_t cells = 1;
    for (int i = 0; i < factor->count; i++)
        cells *= (size_t)net->size[factor->variable[i]];
    return cells;
}

static double value_at(const written *net, const written_factor *factor, const int *assignment)
{
    size_t index = 0;
    for (int i = 0; i < factor->count; i++)
        index = index * (size_t)net->size[factor->variable[i]] + (size_t)assignment[factor->variable[i]];
    return factor->cell[index];
}

/* Different variables below `bound`, at most `most`. */
static void draw_scope(chance *dice, written_factor *factor, int bound, int most)
{
    factor->count = below(dice, most + 1);
    if (factor->count > bound)
        factor->count = bound;
    for (int i = 0; i < factor->count;) {
        int variable = below(dice, bound);
        bool seen = false;
        for (int j = 0; j < i; j++)
            seen = seen || factor->variable[j] == variable;
        if (!seen)
            factor->variable[i++] = variable;
    }
}

static void draw_net(chance *dice, written *net)
{
    memset(net, 0, sizeof *net);
    net->variables = below(dice, MOST_VARIABLES + 1);
    double assignments = 1;
    for (int v = 0; v < net->variables; v++) {
        net->size[v] = 1 + below(dice, MOST_SIZE);
        if (assignments * net->size[v] > MOST_ASSIGNMENTS)
            net->size[v] = 1;
        assignments *= net->size[v];
    }
    net->factors = below(dice, MOST_FACTORS + 1);
    double zeros = below(dice, 3) == 0 ? 0.3 : 0;
    net->magnitude = below(dice, 4) == 0 ? 1e-90 : 1;
    for (int f = 0; f < net->factors; f++) {
        written_factor *factor = &net->factor[f];
        draw_scope(dice, factor, net->variables, f % 3 == 0 ? MOST_ARITY : 2);
        for (size_t i = 0; i < cells_of(net, factor); i++)
            factor->cell[i] = uniform(dice) < zeros ? 0 : net->magnitude * uniform(dice);
    }
}

/* One more variable whose law depends on a few of the others. */
static void draw_extra(chance *dice, written *net)
{
    int all = net->variables + net->extras;
    written_factor *factor = &net->extra[net->extra_factors++];
    net->size[all] = 1 + below(dice, MOST_SIZE - 1);
    draw_scope(dice, factor, all, MOST_ARITY - 1);
    if (net->extras > 0 && below(dice, 2) == 0) {   /* a chain through the one before */
        bool seen = false;
        for (int i = 0; i < factor->count; i++)
            seen = seen || factor->variable[i] == all - 1;
        if (!seen && factor->count < MOST_ARITY - 1)
            factor->variable[factor->count++] = all - 1;
    }
    factor->variable[factor->count++] = all;
    net->extras++;
    size_t size = (size_t)net->size[all], cells = cells_of(net, factor);
    for (size_t i = 0; i < cells; i += size) {
        double sum = 0;
        for (size_t j = 0; j < size; j++)
            sum += factor->cell[i + j] = below(dice, 4) == 0 ? 0 : uniform(dice);
        for (size_t j = 0; j < size; j++)
            factor->cell[i + j] = sum > 0 ? factor->cell[i + j] / sum : j == 0;
    }
}

static void draw_weights(chance *dice, written *net)
{
    for (int v = 0; v < net->variables; v++) {
        net->weighted[v] = below(dice, 3) == 0;
        for (int i = 0; i < net->size[v]; i++)
            net->weight[v][i] = below(dice, 5) == 0 ? 0 : 3 * uniform(dice);
    }
}

/* ---- enumeration ---- */

/* The magnitude is left out, so that doubles hold the product. */
static double product_at(const written *net, const int *assignment)
{
    double product = 1;
    for (int f = 0; f < net->factors; f++)
        product *= value_at(net, &net->factor[f], assignment) / net->magnitude;
    for (int f = 0; f < net->extra_factors; f++)
        product *= value_at(net, &net->extra[f], assignment);
    for (int v = 0; v < net->variables; v++)
        if (net->weighted[v])
            product *= net->weight[v][assignment[v]];
    return product;
}

static bool next_assignment(const written *net, int *assignment)
{
    for (int v = net->variables + net->extras - 1; v >= 0; v--) {
        if (++assignment[v] < net->size[v])
            return true;
        assignment[v] = 0;
    }
    return false;
}

/* The joint law of some variables, not normalised; returns the total. */
static double enumerate(const written *net, int count, const int *variable, double *joint)
{
    int assignment[MOST_ALL] = {0};
    size_t cells = 1;
    for (int i = 0; i < count; i++)
        cells *= (size_t)net->size[variable[i]];
    memset(joint, 0, cells * sizeof *joint);
    double total = 0;
    do {
        double product = product_at(net, assignment);
        size_t index = 0;
        for (int i = 0; i < count; i++)
            index = index * (size_t)net->size[variable[i]] + (size_t)assignment[variable[i]];
        joint[index] += product;
        total += product;
    } while (next_assignment(net, assignment));
    return total;
}

/* ---- comparing ---- */

static void assert_near(double got, double expected)
{
    if (!(fabs(got - expected) <= 1e-12 * fmax(1, fabs(expected))))
        fail_msg("got %.17g, expected %.17g", got, expected);
}

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

static const rl_allocator plain = {take, give, NULL};

static rl_net *build(rl_arena *arena, const written *net)
{
    rl_net *built = rl_net_new(arena);
    for (int v = 0; v < net->variables; v++)
        assert_int_equal(rl_net_variable(built, net->size[v]), v);
    for (int f = 0; f < net->factors; f++)
        rl_net_factor(built, net->factor[f].count, net->factor[f].variable, net->factor[f].cell);
    return built;
}

/* Asked of the tree, and where what earlier questions had in common is kept. */
static void compare_joint(const written *net, const rl_tree *tree, rl_recall *recall, rl_arena *arena, int count,
                          const int *variable)
{
    double expected[MOST_ASSIGNMENTS], got[MOST_ASSIGNMENTS];
    double total = enumerate(net, count, variable, expected);
    size_t cells = 1;
    for (int i = 0; i < count; i++)
        cells *= (size_t)net->size[variable[i]];
    rl_tree_joint(tree, arena, count, variable, got);
    for (size_t i = 0; i < cells; i++)
        assert_near(got[i], expected[i] / total);
    assert_true(rl_recall_joint(recall, arena, 0, count, variable, got));
    for (size_t i = 0; i < cells; i++)
        assert_near(got[i], expected[i] / total);
}

static void compare_marginals(const written *net, const rl_tree *tree)
{
    for (int v = 0; v < net->variables; v++) {
        double expected[MOST_SIZE], got[MOST_SIZE];
        double total = enumerate(net, 1, &v, expected);
        rl_tree_marginal(tree, v, got);
        for (int i = 0; i < net->size[v]; i++)
            assert_near(got[i], expected[i] / total);
    }
}

/* Every prefix of a chain of extra variables is asked for its last. */
static void compare_queries(chance *dice, written *net, const rl_tree *tree, rl_recall *recall, rl_arena *arena)
{
    int extras = 1 + below(dice, MOST_EXTRA);
    for (int e = 0; e < extras; e++) {
        draw_extra(dice, net);
        rl_table table[MOST_EXTRA];
        for (int f = 0; f < net->extra_factors; f++)
            table[f] = (rl_table){net->extra[f].count, net->extra[f].variable, net->extra[f].cell};
        int target = net->variables + e;
        rl_extension extension = {.variables = net->extras, .size = net->size + net->variables,
                                  .tables = net->extra_factors, .table = table, .target = target};
        double expected[MOST_SIZE], got[MOST_SIZE];
        double total = enumerate(net, 1, &target, expected);
        rl_tree_query(tree, arena, &extension, got);
        for (int i = 0; i < net->size[target]; i++)
            assert_near(got[i], expected[i] / total);
        assert_true(rl_recall_query(recall, arena, &extension, got));
        for (int i = 0; i < net->size[target]; i++)
            assert_near(got[i], expected[i] / total);
    }
    net->extras = net->extra_factors = 0;
}

static void compare_round(chance *dice, written *net, rl_tree *tree, rl_arena *arena, bool ask)
{
    double unused;
    for (int v = 0; v < net->variables; v++)
        rl_tree_weigh(tree, v, net->weighted[v] ? net->weight[v] : NULL);
    double total = enumerate(net, 0, NULL, &unused);
    double got = rl_tree_collect(tree);
    if (total == 0) {
        assert_true(got == -INFINITY);
        return;
    }
    assert_near(got, log(total) + net->factors * log(net->magnitude));
    if (!ask)
        return;
    rl_tree_distribute(tree);
    compare_marginals(net, tree);
    rl_arena kept;
    rl_arena_init(&kept, &plain, 0);
    kept.bail = arena->bail;
    rl_recall *recall = rl_recall_make(&kept, tree);
    for (int i = 0; i < 6 && net->variables > 0; i++) {
        written_factor scope;
        draw_scope(dice, &scope, net->variables, MOST_ARITY);
        compare_joint(net, tree, recall, arena, scope.count, scope.variable);
    }
    compare_queries(dice, net, tree, recall, arena);
    rl_arena_free(&kept);
}

static void random_nets(void **state)
{
    (void)state;
    static written net;
    chance dice = {20240607};
    for (int i = 0; i < NETS; i++) {
        rl_arena arena;
        rl_arena_init(&arena, &plain, 0);
        jmp_buf bail;
        arena.bail = &bail;
        if (setjmp(bail) != 0)
            fail_msg("memory ran out");
        draw_net(&dice, &net);
        rl_net *built = build(&arena, &net);
        rl_tree *tree = rl_tree_make(&arena, built, rl_plan_make(&arena, built));
        compare_round(&dice, &net, tree, &arena, true);
        for (int again = 0; again < 3; again++) {
            draw_weights(&dice, &net);
            compare_round(&dice, &net, tree, &arena, again != 1);
        }
        rl_arena_free(&arena);
    }
}

/* ---- nets that grow ---- */

/* Adds the variables below `variables`, and the factors below `factors` that speak of them alone; `there`
 * says which are in the net already. */
static void add_to(rl_net *built, const written *net, int variables, int factors, bool *there)
{
    for (int v = rl_net_variables(built); v < variables; v++)
        assert_int_equal(rl_net_variable(built, net->size[v]), v);
    for (int f = 0; f < factors; f++) {
        const written_factor *factor = &net->factor[f];
        bool may = !there[f];
        for (int i = 0; i < factor->count; i++)
            may = may && factor->variable[i] < variables;
        if (may)
            rl_net_factor(built, factor->count, factor->variable, factor->cell);
        there[f] = there[f] || may;
    }
}

/* The same tree as if it were made of the whole net, grown from that of a part of it, by a part. */
static rl_tree *grown(chance *dice, rl_arena *arena, const written *net)
{
    bool there[MOST_FACTORS] = {false};
    rl_net *built = rl_net_new(arena);
    int variables = below(dice, net->variables + 1), factors = below(dice, net->factors + 1);
    add_to(built, net, variables, factors, there);
    rl_plan *plan = rl_plan_make(arena, built);
    rl_tree *tree = rl_tree_make(arena, built, plan);
    for (int step = 0; step < 2; step++) {
        if (rl_tree_collect(tree) > -INFINITY && below(dice, 2) == 0)
            rl_tree_distribute(tree);
        variables = step == 1 ? net->variables : variables + below(dice, net->variables - variables + 1);
        add_to(built, net, variables, step == 1 ? net->factors : factors, there);
        plan = rl_plan_grow(arena, built, plan);
        tree = rl_tree_grow(arena, built, plan, tree);
        if (!tree)
            tree = rl_tree_make(arena, built, plan = rl_plan_make(arena, built));
    }
    return tree;
}

static void grown_nets(void **state)
{
    (void)state;
    static written net;
    chance dice = {19051887};
    for (int i = 0; i < NETS; i++) {
        rl_arena arena;
        rl_arena_init(&arena, &plain, 0);
        jmp_buf bail;
        arena.bail = &bail;
        if (setjmp(bail) != 0)
            fail_msg("memory ran out");
        draw_net(&dice, &net);
        rl_tree *tree = grown(&dice, &arena, &net);
        compare_round(&dice, &net, tree, &arena, true);
        for (int again = 0; again < 2; again++) {
            draw_weights(&dice, &net);
            compare_round(&dice, &net, tree, &arena, true);
        }
        rl_arena_free(&arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(random_nets), cmocka_unit_test(grown_nets)};
    return cmocka_run_group_tests_name("infer, random nets", tests, NULL, NULL) != 0;
}

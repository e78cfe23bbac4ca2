/* test_bayes.c: the inference layer against published and recomputed examples.
 *
 * tests/data/bayes.json and qmr_random.json hold networks, two-level noisy-OR
 * cases and noisy-MAX examples with values that were computed elsewhere, in
 * exact fractions (see tests/data/bayes.sources.txt).
 */
#include "held/published.h"
#include "infer.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <jansson.h>

enum { MOST_VALUES = 16 };

static void *take(void *user, size_t size)
{
    (void)user;
    void *piece = malloc(size);
    if (piece == NULL)
        abort();   /* this test has no way back */
    return piece;
}

static void give(void *user, void *piece)
{
    (void)user;
    free(piece);
}

static const rl_allocator plain = {take, give, NULL};

static void start(rl_arena *arena)
{
    rl_arena_init(arena, &plain, 0);
}

static void assert_near(double got, double expected)
{
    if (!(fabs(got - expected) <= 1e-9 * fmax(1e-3, fabs(expected))))
        fail_msg("got %.17g, expected %.17g", got, expected);
}

static double *cells(rl_arena *arena, size_t count)
{
    return rl_many(arena, count, double);
}

/* ---- networks ---- */

static size_t index_named(const json_t *array, const char *name)
{
    for (size_t i = 0; i < json_array_size(array); i++) {
        const json_t *entry = json_array_get(array, i);
        const char *text = json_is_string(entry) ? json_string_value(entry)
                                                 : json_string_value(json_object_get(entry, "name"));
        if (strcmp(text, name) == 0)
            return i;
    }
    fail_msg("no %s", name);
    return 0;
}

static const json_t *states_of(const json_t *nodes, size_t node)
{
    return json_object_get(json_array_get(nodes, node), "states");
}

static void add_node(rl_arena *arena, rl_net *net, const json_t *nodes, size_t number)
{
    const json_t *node = json_array_get(nodes, number);
    const json_t *parents = json_object_get(node, "parents"), *cpt = json_object_get(node, "cpt");
    size_t count = json_array_size(parents), states = json_array_size(states_of(nodes, number));
    int *variable = rl_many(arena, count + 1, int);
    for (size_t i = 0; i < count; i++)
        variable[i] = (int)index_named(nodes, json_string_value(json_array_get(parents, i)));
    variable[count] = (int)number;
    double *table = cells(arena, json_array_size(cpt) * states);
    for (size_t row = 0; row < json_array_size(cpt); row++)
        for (size_t s = 0; s < states; s++)
            table[row * states + s] = published_at(json_array_get(cpt, row), s);
    rl_net_factor(net, (int)count + 1, variable, table);
}

static void observe(rl_tree *tree, const json_t *nodes, const json_t *query)
{
    const char *name;
    const json_t *state;
    for (size_t i = 0; i < json_array_size(nodes); i++)
        rl_tree_weigh(tree, (int)i, NULL);
    json_object_foreach(json_object_get(query, "evidence"), name, state) {
        size_t node = index_named(nodes, name);
        double weight[MOST_VALUES] = {0};
        weight[index_named(states_of(nodes, node), json_string_value(state))] = 1;
        rl_tree_weigh(tree, (int)node, weight);
    }
}

static void check_query(rl_tree *tree, const json_t *nodes, const json_t *query)
{
    observe(tree, nodes, query);
    assert_near(exp(rl_tree_collect(tree)), json_number_value(json_object_get(query, "p_evidence")));
    rl_tree_distribute(tree);
    size_t target = index_named(nodes, json_string_value(json_object_get(query, "target")));
    double got[MOST_VALUES];
    rl_tree_marginal(tree, (int)target, got);
    const json_t *states = states_of(nodes, target), *expected = json_object_get(query, "posterior");
    assert_int_equal(json_object_size(expected), json_array_size(states));
    for (size_t s = 0; s < json_array_size(states); s++)
        assert_near(got[s], json_number_value(json_object_get(expected, json_string_value(json_array_get(states, s)))));
}

static void networks(void **state)
{
    (void)state;
    json_t *root = published("bayes.json");
    const json_t *list = json_object_get(root, "networks");
    size_t queries = 0;
    for (size_t i = 0; i < json_array_size(list); i++) {
        rl_arena arena;
        start(&arena);
        const json_t *network = json_array_get(list, i), *nodes = json_object_get(network, "nodes");
        rl_net *net = rl_net_new(&arena);
        for (size_t n = 0; n < json_array_size(nodes); n++)
            rl_net_variable(net, (int)json_array_size(states_of(nodes, n)));
        for (size_t n = 0; n < json_array_size(nodes); n++)
            add_node(&arena, net, nodes, n);
        rl_tree *tree = rl_tree_make(&arena, net, rl_plan_make(&arena, net));
        const json_t *asked = json_object_get(network, "queries");
        for (size_t q = 0; q < json_array_size(asked); q++, queries++)
            check_query(tree, nodes, json_array_get(asked, q));
        rl_arena_free(&arena);
    }
    assert_true(queries > 60);
    json_decref(root);
}

/* ---- two-level noisy-OR ---- */

/* An absent finding is a product of terms in one fault each. */
static void add_absent(rl_arena *arena, rl_net *net, const json_t *links, double leak)
{
    double *none = cells(arena, 1);
    none[0] = 1 - leak;
    rl_net_factor(net, 0, NULL, none);
    for (size_t d = 0; d < json_array_size(links); d++) {
        double *term = cells(arena, 2);
        term[0] = 1;
        term[1] = 1 - published_at(links, d);
        rl_net_factor(net, 1, (int[]){(int)d}, term);
    }
}

/* A present one: a chain of helpers, each "some cause so far"; the last must be so. */
static void add_present(rl_arena *arena, rl_net *net, const json_t *links, double leak)
{
    int so_far = rl_net_variable(net, 2);
    double *start_law = cells(arena, 2), *end_law = cells(arena, 2);
    start_law[0] = 1 - leak;
    start_law[1] = leak;
    rl_net_factor(net, 1, &so_far, start_law);
    for (size_t d = 0; d < json_array_size(links); d++) {
        if (published_at(links, d) == 0)
            continue;
        int next = rl_net_variable(net, 2);
        double *step = cells(arena, 8);      /* before, fault, after */
        step[0] = 1;
        step[2] = 1 - published_at(links, d);
        step[3] = published_at(links, d);
        step[5] = step[7] = 1;
        rl_net_factor(net, 3, (int[]){so_far, (int)d, next}, step);
        so_far = next;
    }
    end_law[1] = 1;
    rl_net_factor(net, 1, &so_far, end_law);
}

/* Counts the faults, none, one or more, and demands one. */
static void demand_one(rl_arena *arena, rl_net *net, size_t faults)
{
    double *start_law = cells(arena, 3), *end_law = cells(arena, 3), *step = cells(arena, 18);
    int count = rl_net_variable(net, 3);
    start_law[0] = end_law[1] = 1;
    for (size_t before = 0; before < 3; before++)
        for (size_t fault = 0; fault < 2; fault++)
            step[(before * 2 + fault) * 3 + (before + fault < 2 ? before + fault : 2)] = 1;
    rl_net_factor(net, 1, &count, start_law);
    for (size_t d = 0; d < faults; d++) {
        int next = rl_net_variable(net, 3);
        rl_net_factor(net, 3, (int[]){count, (int)d, next}, step);
        count = next;
    }
    rl_net_factor(net, 1, &count, end_law);
}

static rl_net *two_level(rl_arena *arena, const json_t *given, bool one)
{
    const json_t *prior = json_object_get(given, "prior"), *link = json_object_get(given, "link");
    const json_t *leak = json_object_get(given, "leak");
    rl_net *net = rl_net_new(arena);
    for (size_t d = 0; d < json_array_size(prior); d++)
        rl_net_variable(net, 2);
    for (size_t d = 0; d < json_array_size(prior); d++) {
        double *law = cells(arena, 2);
        law[0] = 1 - published_at(prior, d);
        law[1] = published_at(prior, d);
        rl_net_factor(net, 1, (int[]){(int)d}, law);
    }
    const json_t *absent = json_object_get(given, "absent"), *present = json_object_get(given, "present");
    for (size_t i = 0; i < json_array_size(absent); i++) {
        size_t f = (size_t)published_at(absent, i);
        add_absent(arena, net, json_array_get(link, f), published_at(leak, f));
    }
    for (size_t i = 0; i < json_array_size(present); i++) {
        size_t f = (size_t)published_at(present, i);
        add_present(arena, net, json_array_get(link, f), published_at(leak, f));
    }
    if (one)
        demand_one(arena, net, json_array_size(prior));
    return net;
}

static void check_posterior(const rl_tree *tree, const json_t *expected)
{
    for (size_t d = 0; d < json_array_size(expected); d++) {
        double got[2];
        rl_tree_marginal(tree, (int)d, got);
        assert_near(got[1], published_at(expected, d));
    }
}

static void check_two_level(const json_t *given)
{
    rl_arena arena;
    start(&arena);
    rl_net *net = two_level(&arena, given, false);
    rl_tree *tree = rl_tree_make(&arena, net, rl_plan_make(&arena, net));
    double findings = json_number_value(json_object_get(given, "p_findings"));
    double got = exp(rl_tree_collect(tree));
    assert_true(fabs(got - findings) <= 1e-9 * findings);
    rl_tree_distribute(tree);
    check_posterior(tree, json_object_get(given, "posterior"));
    net = two_level(&arena, given, true);
    tree = rl_tree_make(&arena, net, rl_plan_make(&arena, net));
    const json_t *one = json_object_get(given, "posterior_exactly_one");
    if (json_is_null(one)) {
        assert_true(rl_tree_collect(tree) == -INFINITY);
    } else {
        assert_true(rl_tree_collect(tree) <= log(findings));
        rl_tree_distribute(tree);
        check_posterior(tree, one);
    }
    rl_arena_free(&arena);
}

static void check_list(const char *file, const char *key, size_t at_least)
{
    json_t *root = published(file);
    const json_t *list = json_object_get(root, key);
    assert_true(json_array_size(list) >= at_least);
    for (size_t i = 0; i < json_array_size(list); i++)
        check_two_level(json_array_get(list, i));
    json_decref(root);
}

static void quickscore(void **state)
{
    (void)state;
    check_list("bayes.json", "quickscore", 9);
    check_list("qmr_random.json", "cases", 60);
}

/* ---- noisy-MAX ---- */

/* The greater of two levels, for certain. */
static double *greater_law(rl_arena *arena, size_t levels)
{
    double *law = cells(arena, levels * levels * levels);
    for (size_t a = 0; a < levels; a++)
        for (size_t b = 0; b < levels; b++)
            law[(a * levels + b) * levels + (a > b ? a : b)] = 1;
    return law;
}

/* The contributions as a net of their own; the last variable is the result.
 * With `extra`, the same as extra tables on an empty net. */
static void check_noisy_max(const json_t *given, bool extra)
{
    rl_arena arena;
    start(&arena);
    const json_t *causes = json_object_get(given, "contributions"), *result = json_object_get(given, "result");
    size_t count = json_array_size(causes), levels = json_array_size(result);
    const double *law = greater_law(&arena, levels);
    rl_net *net = rl_net_new(&arena), *empty = rl_net_new(&arena);
    rl_table *table = rl_many(&arena, 2 * count, rl_table);
    int *size = rl_many(&arena, 2 * count, int), tables = 0, so_far = -1;
    for (size_t i = 0; i < count; i++) {
        double *term = cells(&arena, levels);
        int *scope = rl_many(&arena, 4, int);
        scope[0] = rl_net_variable(net, (int)levels);
        for (size_t y = 0; y < levels; y++)
            term[y] = published_at(json_array_get(causes, i), y);
        table[tables++] = (rl_table){.count = 1, .variable = scope, .cells = term};
        if (i > 0) {
            scope[1] = so_far;
            scope[2] = scope[0];
            scope[3] = rl_net_variable(net, (int)levels);
            table[tables++] = (rl_table){.count = 3, .variable = scope + 1, .cells = law};
        }
        so_far = i == 0 ? scope[0] : scope[3];
    }
    for (int v = 0; v < rl_net_variables(net); v++)
        size[v] = (int)levels;
    for (int t = 0; t < tables && !extra; t++)
        rl_net_factor(net, table[t].count, table[t].variable, table[t].cells);
    double got[MOST_VALUES];
    rl_net *asked = extra ? empty : net;
    rl_tree *tree = rl_tree_make(&arena, asked, rl_plan_make(&arena, asked));
    assert_near(rl_tree_collect(tree), 0);
    rl_tree_distribute(tree);
    if (extra)
        rl_tree_query(tree, &arena, &(rl_extension){.variables = rl_net_variables(net), .size = size,
                                                    .tables = tables, .table = table, .target = so_far}, got);
    else
        rl_tree_marginal(tree, so_far, got);
    for (size_t y = 0; y < levels; y++)
        assert_near(got[y], published_at(result, y));
    rl_arena_free(&arena);
}

static void noisy_max(void **state)
{
    (void)state;
    json_t *root = published("bayes.json");
    const json_t *list = json_object_get(root, "noisy_max");
    assert_true(json_array_size(list) >= 5);
    for (size_t i = 0; i < json_array_size(list); i++) {
        check_noisy_max(json_array_get(list, i), false);
        check_noisy_max(json_array_get(list, i), true);
    }
    json_decref(root);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(networks), cmocka_unit_test(quickscore),
                                       cmocka_unit_test(noisy_max)};
    return cmocka_run_group_tests_name("inference, outside examples", tests, NULL, NULL) != 0;
}

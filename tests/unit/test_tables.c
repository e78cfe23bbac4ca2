/* test_tables.c: the loops over tables against the plain sum over all values.
 *
 * Tables are drawn over up to six variables of 2 to 15 values, each in the result, the
 * left table, the right one, or several of them, many cells 0.  The expected result
 * walks through every assignment of every variable and adds up the products.
 */
#include "infer_private.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { VARIABLES = 6, MOST = 40000, DRAWN = 1500 };

static uint64_t roll(uint64_t *state)
{
    *state += 0x9e3779b97f4a7c15U;
    uint64_t z = *state;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
    return z ^ (z >> 31);
}

static size_t below(uint64_t *state, size_t bound)
{
    return (size_t)(roll(state) % bound);
}

enum table { OUT, LEFT, RIGHT, TABLES };

/* Three tables over the same variables, the last of which changes fastest in each. */
typedef struct drawing {
    int variables;
    size_t size[VARIABLES];
    bool has[TABLES][VARIABLES];
    size_t cells[TABLES];
    double *cell[TABLES];
    double *want;
    rl_axis axis[VARIABLES];
    int rank;
} drawing;

static size_t step_of(const drawing *d, enum table t, int variable)
{
    size_t step = 1;
    for (int v = variable + 1; v < d->variables; v++)
        step *= d->has[t][v] ? d->size[v] : 1;
    return d->has[t][variable] ? step : 0;
}

/* What every result has, one of the others must have. */
static void draw_scopes(drawing *d, uint64_t *state, enum table result)
{
    for (int v = 0; v < d->variables; v++) {
        size_t which = 1 + below(state, 7);
        for (int t = 0; t < TABLES; t++)
            d->has[t][v] = which >> t & 1;
        if (which == (size_t)1 << result)
            d->has[(result + 1) % TABLES][v] = true;
    }
}

static void draw_cells(drawing *d, uint64_t *state, enum table t, size_t one_in)
{
    d->cells[t] = 1;
    for (int v = 0; v < d->variables; v++)
        d->cells[t] *= d->has[t][v] ? d->size[v] : 1;
    d->cell[t] = malloc(d->cells[t] * sizeof(double));
    assert_non_null(d->cell[t]);
    for (size_t i = 0; i < d->cells[t]; i++)
        d->cell[t][i] = below(state, one_in) == 0 ? (double)(1 + below(state, 1000)) / 1000 : 0;
}

/* One of the tables as the product of the other two. */
static void find_want(drawing *d, enum table result)
{
    enum table a = result == OUT ? LEFT : OUT, b = result == RIGHT ? LEFT : RIGHT;
    size_t at[VARIABLES] = {0};
    int v;
    d->want = calloc(d->cells[result], sizeof(double));
    assert_non_null(d->want);
    do {
        size_t index[TABLES] = {0, 0, 0};
        for (int t = 0; t < TABLES; t++)
            for (int u = 0; u < d->variables; u++)
                index[t] += at[u] * step_of(d, (enum table)t, u);
        d->want[index[result]] += d->cell[a][index[a]] * d->cell[b][index[b]];
        for (v = d->variables - 1; v >= 0 && ++at[v] == d->size[v]; v--)
            at[v] = 0;
    } while (v >= 0);
}

static drawing draw(uint64_t *state, enum table result)
{
    drawing d = {.variables = 1 + (int)below(state, VARIABLES)};
    size_t all = 1, one_in = 1 + below(state, 6);
    for (int v = 0; v < d.variables; v++) {
        d.size[v] = 2 + below(state, below(state, 4) == 0 ? 14 : 6);
        if (all * d.size[v] > MOST)
            d.size[v] = 2;
        all *= d.size[v];
    }
    draw_scopes(&d, state, result);
    for (int t = 0; t < TABLES; t++)
        draw_cells(&d, state, (enum table)t, one_in);
    find_want(&d, result);
    for (int v = d.variables - 1; v >= 0; v--)
        d.rank = rl_add_axis(d.axis, d.rank, (rl_axis){d.size[v], step_of(&d, OUT, v), step_of(&d, LEFT, v), step_of(&d, RIGHT, v)});
    return d;
}

static void compare(const drawing *d, enum table result)
{
    for (size_t i = 0; i < d->cells[result]; i++)
        assert_true(fabs(d->cell[result][i] - d->want[i]) <= 1e-12 * d->want[i]);
}

static void drop(drawing *d)
{
    for (int t = 0; t < TABLES; t++)
        free(d->cell[t]);
    free(d->want);
}

/* What was in the result before does not show. */
static void spoil(drawing *d, enum table result)
{
    for (size_t i = 0; i < d->cells[result]; i++)
        d->cell[result][i] = 777;
}

static void multiplied(void **unused)
{
    (void)unused;
    uint64_t state = 1;
    for (int i = 0; i < DRAWN; i++) {
        drawing d = draw(&state, OUT);
        spoil(&d, OUT);
        rl_multiply(d.cell[OUT], d.cell[LEFT], d.cell[RIGHT], d.axis, d.rank);
        compare(&d, OUT);
        drop(&d);
    }
}

static void multiplied_back(void **unused)
{
    (void)unused;
    uint64_t state = 2;
    for (int i = 0; i < DRAWN; i++) {
        enum table result = i % 2 == 0 ? LEFT : RIGHT;
        drawing d = draw(&state, result);
        spoil(&d, result);
        rl_multiply_back(d.cell[result], d.cell[OUT], d.cell[result == LEFT ? RIGHT : LEFT], d.axis, d.rank, result == LEFT);
        compare(&d, result);
        drop(&d);
    }
}

/* ---- lists of what is not 0 ---- */

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

/* Bits of every variable, with one free between them. */
static int digits(const drawing *d, enum table t, rl_digit *digit, uint64_t *mask)
{
    int count = 0, shift = 0;
    *mask = 0;
    for (int v = 0; v < d->variables; v++) {
        rl_digit own = {d->size[v], shift};
        shift += 1 + rl_digit_bits(d->size[v]);
        if (d->has[t][v]) {
            digit[count++] = own;
            *mask |= rl_digit_mask(&own);
        }
    }
    return count;
}

static void joined_lists(void **unused)
{
    (void)unused;
    static const rl_allocator allocator = {take, give, NULL};
    uint64_t state = 3;
    for (int i = 0; i < DRAWN; i++) {
        drawing d = draw(&state, OUT);
        rl_arena arena;
        rl_digit digit[TABLES][VARIABLES];
        uint64_t mask[TABLES];
        int count[TABLES];
        rl_arena_init(&arena, &allocator, 0);
        for (int t = 0; t < TABLES; t++)
            count[t] = digits(&d, (enum table)t, digit[t], &mask[t]);
        rl_list left = rl_list_cells(&arena, d.cell[LEFT], count[LEFT], digit[LEFT]);
        rl_list right = rl_list_cells(&arena, d.cell[RIGHT], count[RIGHT], digit[RIGHT]);
        assert_int_equal(left.count, rl_filled(d.cell[LEFT], d.cells[LEFT]));
        rl_list out = rl_join_lists(&arena, &left, &right, mask[LEFT] & mask[RIGHT], (mask[LEFT] | mask[RIGHT]) & ~mask[OUT]);
        assert_int_equal(out.count, rl_filled(d.want, d.cells[OUT]));
        spoil(&d, OUT);
        rl_spread_cells(&out, count[OUT], digit[OUT], d.cell[OUT]);
        compare(&d, OUT);
        rl_arena_free(&arena);
        drop(&d);
    }
}

static void estimate_is_near(void **unused)
{
    (void)unused;
    enum { CELLS = 6 * 6 * 6 * 2 * 2 * 8 * 7 };
    static double cell[CELLS];
    uint64_t state = 4;
    size_t filled = 0;
    for (int i = 0; i < CELLS; i++) {
        cell[i] = below(&state, 10) == 0 ? 0.5 : 0;
        filled += cell[i] != 0;
    }
    assert_int_equal(rl_filled(cell, CELLS), filled);
    /* some 3,700 cells are looked at: five standard deviations of their count are 90 */
    assert_true(fabs((double)rl_filled_about(cell, CELLS) - (double)filled) < 13 * 90);
}

/* ---- whole tables ---- */

static void whole_tables(void **unused)
{
    (void)unused;
    enum { MOST_CELLS = 70 };
    uint64_t state = 5;
    for (size_t count = 0; count <= MOST_CELLS; count++) {
        double left[MOST_CELLS] = {0}, right[MOST_CELLS] = {0}, greatest = 0, sum = 0;
        for (size_t i = 0; i < count; i++) {
            left[i] = (double)below(&state, 1000);
            right[i] = (double)below(&state, 1000);
            greatest = fmax(greatest, left[i]);
            sum += left[i] * right[i];
        }
        /* whole numbers: the sum is exact in any order */
        assert_true(rl_greatest(left, count) == greatest);
        assert_true(rl_dot(left, right, count) == sum);
        memcpy(right, left, count * sizeof *left);
        rl_scale(right, count, 0.5);
        for (size_t i = 0; i < count; i++)
            assert_true(right[i] == left[i] / 2);
        rl_times(right, left, count);
        for (size_t i = 0; i < count; i++)
            assert_true(right[i] == left[i] * left[i] / 2);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(multiplied),     cmocka_unit_test(multiplied_back), cmocka_unit_test(joined_lists),
        cmocka_unit_test(estimate_is_near), cmocka_unit_test(whole_tables),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

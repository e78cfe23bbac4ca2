/* multiply.c: out += left * right, the one loop of the inference layer.
 *
 * Invariant: every index is a sum of axis steps; the innermost loops are told
 * apart by which tables stand still in them.  A row that is multiplied by 0 is
 * skipped: paths only worsen along a chain, so that many are.
 * Most innermost axes are one variable of a few values: for these the two
 * innermost loops are compiled once for each length.
 */
#include "infer_private.h"

#include <assert.h>

/* The length and sort of the rows must be constants where the loops over them stand. */
#define SURELY_INLINE static inline __attribute__((always_inline))

/* What the innermost axis is to the three tables. */
typedef enum row_sort {
    ROW_SCALED,     /* out and left run on, right stands still */
    ROW_SCALED_TOO, /* out and right run on, left stands still */
    ROW_TIMES,      /* all run on */
    ROW_DOT,        /* out stands still, the others run on */
    ROW_OTHER
} row_sort;

static row_sort sort_of(const rl_axis *axis)
{
    if (axis->out == 1 && axis->left == 1)
        return axis->right == 0 ? ROW_SCALED : axis->right == 1 ? ROW_TIMES : ROW_OTHER;
    if (axis->out == 1 && axis->left == 0 && axis->right == 1)
        return ROW_SCALED_TOO;
    return axis->out == 0 && axis->left == 1 && axis->right == 1 ? ROW_DOT : ROW_OTHER;
}

SURELY_INLINE void add_scaled(double *restrict out, const double *restrict row, double factor, size_t count)
{
    if (factor == 0)
        return;
    for (size_t i = 0; i < count; i++)
        out[i] += row[i] * factor;
}

SURELY_INLINE void add_products(double *restrict out, const double *restrict left, const double *restrict right,
                                size_t count)
{
    for (size_t i = 0; i < count; i++)
        out[i] += left[i] * right[i];
}

SURELY_INLINE double dot(const double *left, const double *right, size_t count)
{
    double even = 0, odd = 0;
    size_t i = 0;
    for (; i + 1 < count; i += 2) {
        even += left[i] * right[i];
        odd += left[i + 1] * right[i + 1];
    }
    return i < count ? even + odd + left[i] * right[i] : even + odd;
}

static void add_strided(double *out, const double *left, const double *right, const rl_axis *axis)
{
    if (axis->out == 0) {
        double sum = 0;
        for (size_t i = 0; i < axis->count; i++)
            sum += left[i * axis->left] * right[i * axis->right];
        *out += sum;
        return;
    }
    for (size_t i = 0; i < axis->count; i++)
        out[i * axis->out] += left[i * axis->left] * right[i * axis->right];
}

/* The innermost axis has `count` values; where that is a constant, the loop is unrolled. */
SURELY_INLINE void run_rows(double *out, const double *left, const double *right, const rl_axis *axis, row_sort sort,
                            size_t count)
{
    for (size_t i = axis->count; i > 0; i--, out += axis->out, left += axis->left, right += axis->right) {
        if (sort == ROW_SCALED)
            add_scaled(out, left, *right, count);
        else if (sort == ROW_SCALED_TOO)
            add_scaled(out, right, *left, count);
        else if (sort == ROW_TIMES)
            add_products(out, left, right, count);
        else if (sort == ROW_DOT)
            *out += dot(left, right, count);
        else
            add_strided(out, left, right, axis + 1);
    }
}

enum { MOST_SUMMED = 8 };

/* The same where the result stands still over the rows: it is kept at hand. */
SURELY_INLINE void sum_rows(double *restrict out, const double *restrict left, const double *restrict right,
                            const rl_axis *axis, row_sort sort, size_t count)
{
    double sum[MOST_SUMMED];
    const double *row = sort == ROW_SCALED_TOO ? right : left, *by = sort == ROW_SCALED_TOO ? left : right;
    size_t row_step = sort == ROW_SCALED_TOO ? axis->right : axis->left;
    size_t by_step = sort == ROW_SCALED_TOO ? axis->left : axis->right;
    for (size_t i = 0; i < count; i++)
        sum[i] = out[i];
    for (size_t n = axis->count; n > 0; n--, row += row_step, by += by_step) {
        if (sort == ROW_TIMES) {
            for (size_t i = 0; i < count; i++)
                sum[i] += row[i] * by[i];
        } else if (*by != 0) {
            for (size_t i = 0; i < count; i++)
                sum[i] += row[i] * *by;
        }
    }
    for (size_t i = 0; i < count; i++)
        out[i] = sum[i];
}

SURELY_INLINE void sum_or_run(double *out, const double *left, const double *right, const rl_axis *axis, row_sort sort,
                              size_t count)
{
    if (axis->out == 0 && sort != ROW_DOT)
        sum_rows(out, left, right, axis, sort, count);
    else
        run_rows(out, left, right, axis, sort, count);
}

SURELY_INLINE void run_sized(double *out, const double *left, const double *right, const rl_axis *axis, row_sort sort)
{
    switch (axis[1].count) {
    case 2: sum_or_run(out, left, right, axis, sort, 2); break;
    case 3: sum_or_run(out, left, right, axis, sort, 3); break;
    case 4: sum_or_run(out, left, right, axis, sort, 4); break;
    case 5: sum_or_run(out, left, right, axis, sort, 5); break;
    case 6: sum_or_run(out, left, right, axis, sort, 6); break;
    case 7: sum_or_run(out, left, right, axis, sort, 7); break;
    case 8: sum_or_run(out, left, right, axis, sort, 8); break;
    default: run_rows(out, left, right, axis, sort, axis[1].count); break;
    }
}

static void run_two(double *out, const double *left, const double *right, const rl_axis *axis, row_sort sort)
{
    switch (sort) {
    case ROW_SCALED: run_sized(out, left, right, axis, ROW_SCALED); break;
    case ROW_SCALED_TOO: run_sized(out, left, right, axis, ROW_SCALED_TOO); break;
    case ROW_TIMES: run_sized(out, left, right, axis, ROW_TIMES); break;
    case ROW_DOT: run_sized(out, left, right, axis, ROW_DOT); break;
    case ROW_OTHER: run_rows(out, left, right, axis, ROW_OTHER, 0); break;
    }
}

static void run_level(double *out, const double *left, const double *right, const rl_axis *axis, int rank,
                      row_sort sort)
{
    if (rank == 2) {
        run_two(out, left, right, axis, sort);
        return;
    }
    for (size_t i = axis->count; i > 0; i--, out += axis->out, left += axis->left, right += axis->right)
        run_level(out, left, right, axis + 1, rank - 1, sort);
}

int rl_add_axis(rl_axis *axes, int rank, rl_axis axis)
{
    if (rank > 0) {
        rl_axis *last = &axes[rank - 1];
        if (last->left == axis.left * axis.count && last->right == axis.right * axis.count &&
            last->out == axis.out * axis.count) {
            axis.count *= last->count;
            *last = axis;
            return rank;
        }
    }
    assert(rank < RL_MOST_AXES);
    axes[rank] = axis;
    return rank + 1;
}

/* Brings an axis that is summed over next to the innermost one; whether there is one. */
static bool move_summed(const rl_axis *axis, int rank, rl_axis *moved)
{
    int at = rank - 3, count = 0;
    while (at >= 0 && axis[at].out != 0)
        at--;
    if (at < 0 || axis[rank - 1].out != 1)
        return false;
    for (int i = 0; i < rank - 1; i++)
        if (i != at)
            moved[count++] = axis[i];
    moved[count++] = axis[at];
    moved[count] = axis[rank - 1];
    return true;
}

void rl_multiply_add(double *out, const double *left, const double *right, const rl_axis *axis, int rank)
{
    if (rank == 0) {
        *out += *left * *right;
    } else if (rank == 1) {
        const rl_axis two[2] = {{.count = 1}, *axis};
        run_two(out, left, right, two, sort_of(axis));
    } else {
        rl_axis moved[RL_MOST_AXES];
        bool moves = rank > 2 && axis[rank - 2].out != 0 && move_summed(axis, rank, moved);
        run_level(out, left, right, moves ? moved : axis, rank, sort_of(&axis[rank - 1]));
    }
}

/* multiply.c: out = left * right, the one loop of the inference layer.
 *
 * Every index is a sum of axis steps. The axes are sorted into one loop over
 * rows of the result, one of what is summed into a row, and the cells of the row itself, which
 * stay in registers while they are summed; what axes are left go around that.  A row
 * has few cells, so that the innermost loops are compiled once for each width, and twice
 * where the processor may have wider registers.
 * Invariant: each cell of the result is written before it is added to, and the sums are
 * made in the same order with wide registers as without: the bits are the same.
 */
#include "infer_private.h"

#include <assert.h>
#if defined(__x86_64__)
#include <immintrin.h>
#endif

/* The width and sort of the rows must be constants where the loops over them stand. */
#define SURELY_INLINE static inline __attribute__((always_inline))
#if defined(__x86_64__)
#define WIDE_REGISTERS 1
#else
#define WIDE_REGISTERS 0
#endif

/* What the cells of a row are to the three tables. */
typedef enum row_sort {
    ROW_SCALED,     /* result and left run on, right stands still */
    ROW_TIMES,      /* all run on */
    ROW_DOT,        /* the result stands still, the others run on */
    ROW_OTHER       /* the result runs on, the others somehow */
} row_sort;

enum { MOST_WIDTH = 8 };

typedef struct block {
    row_sort sort;
    size_t width;           /* cells of a row */
    size_t left, right;     /* their steps, of ROW_OTHER */
    rl_axis sum, rows, turns;   /* what is summed into a row; rows; and those rows again */
    int outers;             /* what goes around that, the outermost last */
    rl_axis outer[RL_MOST_AXES];
} block;

/* ---- one row ---- */

typedef double lane2 __attribute__((vector_size(16)));
typedef double lane4 __attribute__((vector_size(32)));
/* The same in a table, where cells stand anywhere. */
typedef double cells2 __attribute__((vector_size(16), aligned(8), may_alias));
typedef double cells4 __attribute__((vector_size(32), aligned(8), may_alias));

/* A row of the result. */
typedef struct held_row {
    lane4 four[MOST_WIDTH / 4];
    lane2 two[MOST_WIDTH / 2];
    double one[MOST_WIDTH];
} held_row;

/* How a row of some width is held. */
typedef struct shape {
    size_t width, fours, twos, ones;
} shape;

SURELY_INLINE shape shape_of(row_sort sort, size_t width, bool wide)
{
    if (sort == ROW_OTHER)
        return (shape){width, 0, 0, width};
    size_t fours = wide ? width / 4 : 0;
    return (shape){width, fours, (width - 4 * fours) / 2, width % 2};
}

#define FOUR(cell) (*(const cells4 *)(cell))
#define TWO(cell) (*(const cells2 *)(cell))

/* Half of a wide register that holds a number throughout does for a narrow one; the compiler, which knows
 * where it came from, would fill another. */
#if WIDE_REGISTERS && defined(__OPTIMIZE__) && !defined(__clang__)
#define ONE_BROADCAST(wide) __asm__("" : "+x"(wide))
#else
#define ONE_BROADCAST(wide) (void)(wide)
#endif

/* row = left * right, or row += that. */
SURELY_INLINE void take_row(held_row *row, const double *left, const double *right, const block *b, row_sort sort, shape s,
                            bool first)
{
    double by = *right;
    lane2 by2 = {by, by};
    size_t at = 0;
    if (s.fours > 0) {
        lane4 by4 = {by, by, by, by};
        ONE_BROADCAST(by4);
        by2 = (lane2){by4[0], by4[1]};
        for (size_t i = 0; i < s.fours; i++, at += 4) {
            lane4 more = FOUR(left + at) * (sort == ROW_SCALED ? by4 : (lane4)FOUR(right + at));
            row->four[i] = first ? more : (lane4)(row->four[i] + more);
        }
    }
    for (size_t i = 0; i < s.twos; i++, at += 2) {
        lane2 more = TWO(left + at) * (sort == ROW_SCALED ? by2 : (lane2)TWO(right + at));
        row->two[i] = first ? more : (lane2)(row->two[i] + more);
    }
    for (size_t i = 0; i < s.ones; i++, at++) {
        double more = sort == ROW_OTHER    ? left[i * b->left] * right[i * b->right]
                      : sort == ROW_SCALED ? left[at] * by
                                           : left[at] * right[at];
        row->one[i] = first ? more : row->one[i] + more;
    }
}

/* row += out */
SURELY_INLINE void add_row(held_row *row, const double *out, shape s)
{
    for (size_t i = 0; i < s.fours; i++, out += 4)
        row->four[i] += FOUR(out);
    for (size_t i = 0; i < s.twos; i++, out += 2)
        row->two[i] += TWO(out);
    for (size_t i = 0; i < s.ones; i++)
        row->one[i] += out[i];
}

SURELY_INLINE void put_row(double *out, const held_row *row, shape s)
{
    for (size_t i = 0; i < s.fours; i++, out += 4)
        *(cells4 *)out = row->four[i];
    for (size_t i = 0; i < s.twos; i++, out += 2)
        *(cells2 *)out = row->two[i];
    for (size_t i = 0; i < s.ones; i++)
        out[i] = row->one[i];
}

/* The cells of a row added up, in the same order however it is held. */
SURELY_INLINE double total_of(const held_row *row, shape s)
{
    lane2 sum = {0, 0};
    const lane2 *two = row->two;
    if (s.fours > 0) {
        lane4 all = s.fours > 1 ? row->four[0] + row->four[1] : row->four[0];
        sum = (lane2){all[0], all[1]} + (lane2){all[2], all[3]};
        sum = s.twos > 0 ? sum + two[0] : sum;
    } else if (s.twos > 0) {
        sum = s.twos == 4 ? (two[0] + two[2]) + (two[1] + two[3]) : s.twos > 1 ? two[0] + two[1] : two[0];
        sum = s.twos == 3 ? sum + two[2] : sum;
    }
    double total = s.width > 1 ? sum[0] + sum[1] : 0;
    return s.ones == 0 ? total : s.width > 1 ? total + row->one[0] : row->one[0];
}

/* ---- rows ---- */

/* The steps of a loop. */
typedef struct steps {
    size_t out, left, right;
} steps;

SURELY_INLINE steps steps_of(const rl_axis *axis)
{
    return (steps){axis->out, axis->left, axis->right};
}

/* Where the three tables are read and written. */
typedef struct spot {
    double *out;
    const double *left, *right;
    bool more;              /* what is there is added to */
} spot;

SURELY_INLINE void move_on(spot *at, const rl_axis *axis)
{
    at->out += axis->out;
    at->left += axis->left;
    at->right += axis->right;
}

/* All rows of a block at one place. `terms`: how many each is summed of, 0 where that is no constant. */
SURELY_INLINE void run_turns(const block *b, spot at, row_sort sort, shape s, size_t terms)
{
    const size_t count = terms > 0 ? terms : b->sum.count, rows = b->rows.count;
    const steps term = steps_of(&b->sum), step = steps_of(&b->rows), turn = steps_of(&b->turns);
    for (size_t turns = b->turns.count; turns > 0; turns--, at.out += turn.out, at.left += turn.left, at.right += turn.right) {
        double *o = at.out;
        const double *row_left = at.left, *row_right = at.right;
        for (size_t i = rows; i > 0; i--, o += step.out, row_left += step.left, row_right += step.right) {
            held_row row;
            const double *l = row_left, *r = row_right;
            take_row(&row, l, r, b, sort, s, true);
#pragma GCC unroll 6
            for (size_t t = 1; t < count; t++) {
                l += term.left;
                r += term.right;
                take_row(&row, l, r, b, sort, s, false);
            }
            if (sort == ROW_DOT) {
                *o = at.more ? *o + total_of(&row, s) : total_of(&row, s);
            } else {
                if (at.more)
                    add_row(&row, o, s);
                put_row(o, &row, s);
            }
        }
    }
}

/* The next place of a block but along its first outer axis: `digit` counts these, `added` those that add up and have begun. */
static bool next_place(const block *b, spot *at, size_t *digit, int *added)
{
    for (int i = 1; i < b->outers; i++) {
        const rl_axis *axis = &b->outer[i];
        move_on(at, axis);
        *added += axis->out == 0 && digit[i] == 0;
        if (++digit[i] < axis->count)
            return true;
        at->out -= axis->out * axis->count;
        at->left -= axis->left * axis->count;
        at->right -= axis->right * axis->count;
        *added -= axis->out == 0;
        digit[i] = 0;
    }
    return false;
}

SURELY_INLINE void run_rows(const block *b, spot at, row_sort sort, shape s, size_t terms)
{
    if (b->outers == 0) {
        run_turns(b, at, sort, s, terms);
        return;
    }
    const bool more = at.more;
    const rl_axis *first = &b->outer[0];
    size_t digit[RL_MOST_AXES];
    int added = 0;
    for (int i = 1; i < b->outers; i++)
        digit[i] = 0;
    do {
        spot here = at;
        here.more = more || added > 0;
        for (size_t i = first->count; i > 0; i--) {
            run_turns(b, here, sort, s, terms);
            move_on(&here, first);
            here.more = here.more || first->out == 0;
        }
    } while (next_place(b, &at, digit, &added));
}

/* Rows of six cells, one, two, three or six terms each, are the most frequent by far. */
SURELY_INLINE void run_terms(const block *b, spot at, row_sort sort, size_t width, bool wide)
{
    shape s = shape_of(sort, width, wide);
    if (b->sum.count == 1)
        run_rows(b, at, sort, s, 1);
    else if (b->sum.count == 6 && width == 6)
        run_rows(b, at, sort, s, 6);
    else if (b->sum.count == 2 && width == 6)
        run_rows(b, at, sort, s, 2);
    else if (b->sum.count == 3 && width == 6)
        run_rows(b, at, sort, s, 3);
    else
        run_rows(b, at, sort, s, 0);
}

SURELY_INLINE void run_width(const block *b, spot at, row_sort sort, bool wide)
{
    switch (b->width) {
    case 1: run_terms(b, at, sort, 1, wide); break;
    case 2: run_terms(b, at, sort, 2, wide); break;
    case 3: run_terms(b, at, sort, 3, wide); break;
    case 4: run_terms(b, at, sort, 4, wide); break;
    case 5: run_terms(b, at, sort, 5, wide); break;
    case 6: run_terms(b, at, sort, 6, wide); break;
    case 7: run_terms(b, at, sort, 7, wide); break;
    default: run_terms(b, at, sort, 8, wide); break;
    }
}

SURELY_INLINE void run_block(const block *b, spot at, bool wide)
{
    switch (b->sort) {
    case ROW_SCALED: run_width(b, at, ROW_SCALED, wide); break;
    case ROW_TIMES: run_width(b, at, ROW_TIMES, wide); break;
    case ROW_DOT: run_width(b, at, ROW_DOT, wide); break;
    case ROW_OTHER: run_width(b, at, ROW_OTHER, false); break;
    }
}

static void run_plain(const block *b, spot at)
{
    run_block(b, at, false);
}

#if WIDE_REGISTERS
__attribute__((target("avx2"))) static void run_wide(const block *b, spot at)
{
    run_block(b, at, true);
}
#endif

static void run_best(const block *b, spot at)
{
#if WIDE_REGISTERS
    if (__builtin_cpu_supports("avx2")) {
        run_wide(b, at);
        return;
    }
#endif
    run_plain(b, at);
}

/* ---- what becomes a block ---- */

/* Takes the next axis outwards into the block, or around it. */
SURELY_INLINE void place_axis(block *b, rl_axis axis)
{
    rl_axis *own = axis.out == 0 ? &b->sum : b->rows.count == 1 ? &b->rows : &b->turns;
    if (own->count > 1)
        own = &b->outer[b->outers++];
    *own = axis;
}

/* Rows of this width make up an axis, but for a rest. */
static size_t width_of(size_t count)
{
    if (count <= MOST_WIDTH)
        return count;
    return count % 8 == 0 ? 8 : count % 6 == 0 ? 6 : count % 7 == 0 ? 7 : count % 5 == 0 ? 5 : 8;
}

/* Which of a join's tables is the result. */
typedef enum result { OUT, LEFT, RIGHT } result;

/* An axis of a join as one of result = left * right. */
SURELY_INLINE rl_axis seen_from(rl_axis axis, result side)
{
    return side == OUT    ? axis
           : side == LEFT ? (rl_axis){axis.count, axis.left, axis.out, axis.right}
                          : (rl_axis){axis.count, axis.right, axis.out, axis.left};
}

/* The axis whose cells are a row, and its sort; -1: the result is one number. */
SURELY_INLINE int find_row(const rl_axis *axis, int rank, result side, row_sort *sort)
{
    int kept = -1;
    *sort = ROW_OTHER;
    for (int i = 0; i < rank; i++) {
        rl_axis row = seen_from(axis[i], side);
        bool runs = row.left <= 1 && row.right <= 1 && row.left + row.right > 0;
        if (runs && (row.out == 1 || (row.out == 0 && row.left == row.right))) {
            *sort = row.out == 0 ? ROW_DOT : row.left == row.right ? ROW_TIMES : ROW_SCALED;
            return i;
        }
        kept = row.out == 1 ? i : kept;
    }
    return kept;
}

/* The cells of the row's axis behind the last row of full width. */
static void run_rest(block *b, spot at, rl_axis row)
{
    size_t times = row.count / b->width, all = times * b->width;
    if (times > 1)
        *(b->sort == ROW_DOT ? &b->sum.count : &b->rows.count) = 1;
    b->width = row.count - all;
    run_best(b, (spot){at.out + all * row.out, at.left + all * row.left, at.right + all * row.right, b->sort == ROW_DOT});
}

SURELY_INLINE void multiply(spot at, const rl_axis *axis, int rank, result side)
{
    const rl_axis none = {.count = 1};
    block b;
    row_sort sort;
    assert(rank <= RL_MOST_AXES);
    int kept = find_row(axis, rank, side, &sort);
    rl_axis row = kept >= 0 ? seen_from(axis[kept], side) : none;
    bool turned = sort == ROW_SCALED && row.left == 0;
    if (turned) {
        const double *swap = at.left;
        at.left = at.right;
        at.right = swap;
        row.left = 1;
        row.right = 0;
    }
    size_t width = width_of(row.count), times = row.count / width, rest = row.count % width;
    b.sort = sort;
    b.width = width;
    b.left = row.left;
    b.right = row.right;
    b.sum = b.rows = b.turns = none;
    b.outers = 0;
    if (times > 1)
        place_axis(&b, (rl_axis){times, row.out * width, row.left * width, row.right * width});
    for (int i = 0; i < rank; i++)
        if (i != kept) {
            rl_axis next = seen_from(axis[i], side);
            place_axis(&b, turned ? (rl_axis){next.count, next.out, next.right, next.left} : next);
        }
    run_best(&b, at);
    if (rest > 0)
        run_rest(&b, at, row);
}

/* ---- tables turned round ---- */

/* A table is turned round where that takes few cells beside the loop, and no more than this. */
enum { MOST_TURNED = 512, WORTH_TURNING = 4 };

/* Which axis the result runs along, if one factor alone has it, and not as its fastest: rows along it are
 * scaled and added up, which takes less than so many dot products; else -1. */
static int axis_to_turn(const rl_axis *axis, int rank, result side, bool *left)
{
    row_sort sort;
    int kept = find_row(axis, rank, side, &sort);
    size_t loops = 1, cells = 1;
    if (kept < 0 || sort != ROW_DOT)
        return -1;
    int x = 0;
    while (x < rank && seen_from(axis[x], side).out != 1)
        x++;
    if (x == rank)
        return -1;
    rl_axis along = seen_from(axis[x], side);
    *left = along.left > 0;
    if (along.left > 0 && along.right > 0)
        return -1;
    for (int i = 0; i < rank; i++) {
        rl_axis next = seen_from(axis[i], side);
        loops *= next.count;
        cells *= (*left ? next.left : next.right) > 0 ? next.count : 1;
    }
    return cells <= MOST_TURNED && WORTH_TURNING * cells <= loops ? x : -1;
}

/* A copy of a table with the axis that stands `step` cells apart as its fastest. */
static void turn(double *to, const double *from, size_t cells, size_t step, size_t count)
{
    for (size_t c = 0; c < cells; c += step * count)
        for (size_t i = 0; i < step; i++)
            for (size_t x = 0; x < count; x++)
                *to++ = from[c + x * step + i];
}

/* The same with axis x the fastest of the left or the right factor. */
static void multiply_turned(spot at, const rl_axis *axis, int rank, result side, int x, bool left)
{
    double copy[MOST_TURNED];
    rl_axis turned[RL_MOST_AXES];
    rl_axis along = seen_from(axis[x], side);
    size_t step = left ? along.left : along.right, cells = 1;
    for (int i = 0; i < rank; i++) {
        turned[i] = seen_from(axis[i], side);
        size_t *own = left ? &turned[i].left : &turned[i].right;
        cells *= *own > 0 ? turned[i].count : 1;
        *own *= *own < step ? along.count : 1;
    }
    *(left ? &turned[x].left : &turned[x].right) = 1;
    turn(copy, left ? at.left : at.right, cells, step, along.count);
    *(left ? &at.left : &at.right) = copy;
    multiply(at, turned, rank, OUT);
}

/* A factor on the way back, turned round where that is worth it. */
SURELY_INLINE void multiply_back(spot at, const rl_axis *axis, int rank, result side)
{
    bool left;
    int x = axis_to_turn(axis, rank, side, &left);
    if (x < 0)
        multiply(at, axis, rank, side);
    else
        multiply_turned(at, axis, rank, side, x, left);
}

void rl_multiply(double *out, const double *left, const double *right, const rl_axis *axis, int rank)
{
    multiply((spot){out, left, right, false}, axis, rank, OUT);
}

void rl_multiply_back(double *bar, const double *out_bar, const double *other, const rl_axis *axis, int rank, bool left)
{
    if (left)
        multiply_back((spot){bar, out_bar, other, false}, axis, rank, LEFT);
    else
        multiply_back((spot){bar, out_bar, other, false}, axis, rank, RIGHT);
}

/* ---- whole tables ---- */

/* The sum of left * right; eight lanes, however they are held. */
SURELY_INLINE double dot_of(const double *left, const double *right, size_t count, bool wide)
{
    lane2 sum[4] = {{0, 0}, {0, 0}, {0, 0}, {0, 0}};
    lane4 wider[2] = {{0, 0, 0, 0}, {0, 0, 0, 0}};
    double last = 0;
    size_t i = 0;
    for (; i + 8 <= count; i += 8)
        if (wide)
            for (size_t j = 0; j < 2; j++)
                wider[j] += FOUR(left + i + 4 * j) * FOUR(right + i + 4 * j);
        else
            for (size_t j = 0; j < 4; j++)
                sum[j] += TWO(left + i + 2 * j) * TWO(right + i + 2 * j);
    if (wide)
        for (size_t j = 0; j < 2; j++) {
            sum[2 * j] = (lane2){wider[j][0], wider[j][1]};
            sum[2 * j + 1] = (lane2){wider[j][2], wider[j][3]};
        }
    for (; i + 2 <= count; i += 2)
        sum[0] += TWO(left + i) * TWO(right + i);
    if (i < count)
        last = left[i] * right[i];
    lane2 all = (sum[0] + sum[2]) + (sum[1] + sum[3]);
    return all[0] + all[1] + last;
}

#if WIDE_REGISTERS
__attribute__((target("avx2"))) static double dot_wide(const double *left, const double *right, size_t count)
{
    return dot_of(left, right, count, true);
}
#endif

double rl_dot(const double *left, const double *right, size_t count)
{
#if WIDE_REGISTERS
    if (count >= 8 && __builtin_cpu_supports("avx2"))
        return dot_wide(left, right, count);
#endif
    return dot_of(left, right, count, false);
}

#if WIDE_REGISTERS
__attribute__((target("avx2"))) static double greatest_wide(const double *cells, size_t count)
{
    __m256d most[3] = {_mm256_setzero_pd(), _mm256_setzero_pd(), _mm256_setzero_pd()};
    size_t i = 0;
    for (; i + 12 <= count; i += 12)
        for (size_t j = 0; j < 3; j++)
            most[j] = _mm256_max_pd(most[j], _mm256_loadu_pd(cells + i + 4 * j));
    for (; i + 4 <= count; i += 4)
        most[0] = _mm256_max_pd(most[0], _mm256_loadu_pd(cells + i));
    lane4 all = (lane4)_mm256_max_pd(_mm256_max_pd(most[0], most[1]), most[2]);
    double low = all[0] > all[1] ? all[0] : all[1], high = all[2] > all[3] ? all[2] : all[3];
    double greatest = low > high ? low : high;
    for (; i < count; i++)
        greatest = greatest > cells[i] ? greatest : cells[i];
    return greatest;
}
#endif

double rl_greatest(const double *cells, size_t count)
{
#if WIDE_REGISTERS
    if (count >= 4 && __builtin_cpu_supports("avx2"))
        return greatest_wide(cells, count);
#endif
    double most[4] = {0, 0, 0, 0};
    size_t i = 0;
    for (; i + 4 <= count; i += 4)
        for (size_t j = 0; j < 4; j++)
            most[j] = most[j] > cells[i + j] ? most[j] : cells[i + j];
    for (; i < count; i++)
        most[0] = most[0] > cells[i] ? most[0] : cells[i];
    most[0] = most[0] > most[1] ? most[0] : most[1];
    most[2] = most[2] > most[3] ? most[2] : most[3];
    return most[0] > most[2] ? most[0] : most[2];
}

void rl_scale(double *cells, size_t count, double by)
{
    size_t i = 0;
    for (; i + 4 <= count; i += 4) {
        *(cells2 *)(cells + i) *= (lane2){by, by};
        *(cells2 *)(cells + i + 2) *= (lane2){by, by};
    }
    for (; i < count; i++)
        cells[i] *= by;
}

void rl_times(double *cells, const double *by, size_t count)
{
    size_t i = 0;
    for (; i + 4 <= count; i += 4) {
        *(cells2 *)(cells + i) *= TWO(by + i);
        *(cells2 *)(cells + i + 2) *= TWO(by + i + 2);
    }
    for (; i < count; i++)
        cells[i] *= by[i];
}

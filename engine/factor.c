/* factor.c: nets, and the loops over the cells of tables.
 *
 * Invariant: a net only collects; its cells stay the caller's.  The loops know
 * tables whose variables stand in one common order; the index arithmetic is
 * done once, in a shape, and the innermost loops are contiguous.
 */
#include "infer_private.h"

#include <assert.h>
#include <math.h>
#include <string.h>

rl_net *rl_net_new(rl_arena *arena)
{
    rl_net *net = rl_new(arena, rl_net);
    net->arena = arena;
    return net;
}

int rl_net_variable(rl_net *net, int size)
{
    assert(size >= 1);
    if (net->variables == net->variable_room) {
        int room = net->variable_room > 0 ? 2 * net->variable_room : 64;
        int *grown = rl_many(net->arena, room, int);
        if (net->variables > 0)
            memcpy(grown, net->size, (size_t)net->variables * sizeof *grown);
        net->size = grown;
        net->variable_room = room;
    }
    net->size[net->variables] = size;
    return net->variables++;
}

int rl_net_variables(const rl_net *net)
{
    return net->variables;
}

int rl_net_size(const rl_net *net, int variable)
{
    assert(variable >= 0 && variable < net->variables);
    return net->size[variable];
}

void rl_net_factor(rl_net *net, int count, const int *variable, const double *cells)
{
    assert(count >= 0);
    if (net->factors == net->factor_room) {
        int room = net->factor_room > 0 ? 2 * net->factor_room : 64;
        rl_table *grown = rl_many(net->arena, room, rl_table);
        if (net->factors > 0)
            memcpy(grown, net->factor, (size_t)net->factors * sizeof *grown);
        net->factor = grown;
        net->factor_room = room;
    }
    int *copy = rl_many(net->arena, count, int);
    for (int i = 0; i < count; i++) {
        assert(variable[i] >= 0 && variable[i] < net->variables);
        copy[i] = variable[i];
    }
    net->factor[net->factors++] = (rl_table){.count = count, .variable = copy, .cells = cells};
}

/* ---- shapes ---- */

/* From the innermost variable outwards, runs of "in" and "not in" are gathered;
 * variables of one value belong to any run. */
rl_shape rl_shape_make(rl_arena *arena, const int *size, int whole_count, const int *whole,
                       int part_count, const int *part)
{
    int room = 2 * part_count + 1;
    if (room > whole_count)
        room = whole_count > 0 ? whole_count : 1;
    rl_group *group = rl_arena_raw(arena, (size_t)room * sizeof *group);
    int rank = 0;
    size_t big = 1, small = 1;
    bool inside = true;
    group[room - 1] = (rl_group){.count = 1, .big = 1, .small = 1};
    for (int i = whole_count - 1, j = part_count - 1; i >= 0; i--) {
        bool in = j >= 0 && part[j] == whole[i];
        size_t step = (size_t)size[whole[i]];
        j -= in;
        if (step == 1)
            continue;
        if (rank == 0 || in != inside) {
            rank++;
            group[room - rank] = (rl_group){.count = 1, .big = big, .small = in ? small : 0};
            inside = in;
        }
        group[room - rank].count *= step;
        big *= step;
        small *= in ? step : 1;
    }
    if (rank == 0)
        rank = 1;
    return (rl_shape){.rank = rank, .group = group + (room - rank)};
}

/* ---- multiplying into a larger table ---- */

static inline void fold_run(double *restrict big, const double *restrict small, size_t count, rl_fold_mode mode)
{
    if (mode == RL_TIMES)
        for (size_t i = 0; i < count; i++)
            big[i] *= small[i];
    else if (mode == RL_PLUS)
        for (size_t i = 0; i < count; i++)
            big[i] += small[i];
    else
        for (size_t i = 0; i < count; i++)
            big[i] += log(small[i]);
}

static inline void fold_one(double *big, double factor, size_t count, rl_fold_mode mode)
{
    if (mode == RL_TIMES)
        for (size_t i = 0; i < count; i++)
            big[i] *= factor;
    else {
        double term = mode == RL_PLUS ? factor : log(factor);
        for (size_t i = 0; i < count; i++)
            big[i] += term;
    }
}

static void fold_level(double *big, const double *small, const rl_group *group, int rank, rl_fold_mode mode)
{
    size_t count = group->count;
    if (rank == 1) {
        if (group->small != 0)
            fold_run(big, small, count, mode);
        else
            fold_one(big, *small, count, mode);
    } else if (rank == 2 && group[1].small == 0) {
        for (size_t i = 0; i < count; i++)
            fold_one(big + i * group->big, small[i * group->small], group[1].count, mode);
    } else if (rank == 2) {
        for (size_t i = 0; i < count; i++)
            fold_run(big + i * group->big, small, group[1].count, mode);
    } else {
        for (size_t i = 0; i < count; i++)
            fold_level(big + i * group->big, small + i * group->small, group + 1, rank - 1, mode);
    }
}

void rl_fold(double *big, const double *small, rl_shape shape, rl_fold_mode mode)
{
    assert(shape.rank >= 1);
    fold_level(big, small, shape.group, shape.rank, mode);
}

/* ---- summing onto a smaller table ---- */

/* In blocks, so that rounding does not pile up over a large table. */
static inline double sum_run(const double *big, size_t count)
{
    enum { BLOCK = 256 };
    double total = 0;
    for (; count > BLOCK; count -= BLOCK) {
        double sum = 0;
        for (int i = 0; i < BLOCK; i++)
            sum += *big++;
        total += sum;
    }
    double sum = 0;
    for (size_t i = 0; i < count; i++)
        sum += big[i];
    return total + sum;
}

static inline void add_run(double *restrict small, const double *restrict big, size_t count)
{
    for (size_t i = 0; i < count; i++)
        small[i] += big[i];
}

static void project_level(double *small, const double *big, const rl_group *group, int rank)
{
    size_t count = group->count;
    if (rank == 1) {
        if (group->small != 0)
            add_run(small, big, count);
        else
            *small += sum_run(big, count);
    } else if (rank == 2 && group[1].small == 0) {
        for (size_t i = 0; i < count; i++)
            small[i * group->small] += sum_run(big + i * group->big, group[1].count);
    } else if (rank == 2) {
        for (size_t i = 0; i < count; i++)
            add_run(small, big + i * group->big, group[1].count);
    } else {
        for (size_t i = 0; i < count; i++)
            project_level(small + i * group->small, big + i * group->big, group + 1, rank - 1);
    }
}

void rl_project(double *small, const double *big, rl_shape shape)
{
    assert(shape.rank >= 1);
    project_level(small, big, shape.group, shape.rank);
}

/* ---- putting a caller's table in our order ---- */

typedef struct axis {
    int place;
    size_t count, step;
} axis;

static double *gather_level(double *out, const double *cells, const axis *axes, int rank)
{
    size_t count = axes->count, step = axes->step;
    if (rank == 1) {
        for (size_t i = 0; i < count; i++)
            out[i] = cells[i * step];
        return out + count;
    }
    for (size_t i = 0; i < count; i++)
        out = gather_level(out, cells + i * step, axes + 1, rank - 1);
    return out;
}

/* Tables of more variables than this cannot exist unless their sizes are 1. */
enum { MOST_AXES = 64 };

void rl_gather(double *out, const rl_table *table, const int *size, const int *place)
{
    axis axes[MOST_AXES];
    int rank = 0;
    size_t step = 1;
    bool sorted = true;
    for (int i = table->count - 1; i >= 0; i--) {
        axis here = {.place = place[table->variable[i]], .step = step};
        here.count = (size_t)size[here.place];
        if (here.count == 1)
            continue;
        step *= here.count;
        assert(rank < MOST_AXES);
        int at = rank++;
        for (; at > 0 && axes[at - 1].place < here.place; at--)
            axes[at] = axes[at - 1];
        sorted = sorted && at == rank - 1;
        axes[at] = here;
    }
    /* axes now fall by place; turn them round */
    for (int i = 0, j = rank - 1; i < j; i++, j--) {
        axis swap = axes[i];
        axes[i] = axes[j];
        axes[j] = swap;
    }
    if (sorted || rank == 0)
        memcpy(out, table->cells, step * sizeof *out);
    else
        gather_level(out, table->cells, axes, rank);
}

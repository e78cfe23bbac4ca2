/* factor.c: nets, and a caller's table in our order.
 *
 * Invariant: a net only collects; its cells stay the caller's.
 */
#include "infer_private.h"

#include <assert.h>
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
        int *grown = rl_raw(net->arena, room, int);
        if (net->variables > 0)
            memcpy(grown, net->size, (size_t)net->variables * sizeof *grown);
        net->size = grown;
        net->variable_room = room;
    }
    net->size[net->variables] = size;
    return net->variables++;
}

rl_net *rl_net_copy(rl_arena *arena, const rl_net *net)
{
    rl_net *copy = rl_net_new(arena);
    for (int v = 0; v < net->variables; v++)
        rl_net_variable(copy, net->size[v]);
    for (int f = 0; f < net->factors; f++)
        rl_net_factor(copy, net->factor[f].count, net->factor[f].variable, net->factor[f].cells);
    return copy;
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
        rl_table *grown = rl_raw(net->arena, room, rl_table);
        if (net->factors > 0)
            memcpy(grown, net->factor, (size_t)net->factors * sizeof *grown);
        net->factor = grown;
        net->factor_room = room;
    }
    int *copy = rl_raw(net->arena, count, int);
    for (int i = 0; i < count; i++) {
        assert(variable[i] >= 0 && variable[i] < net->variables);
        copy[i] = variable[i];
    }
    net->factor[net->factors++] = (rl_table){.count = count, .variable = copy, .cells = cells};
}

int rl_net_factors(const rl_net *net)
{
    return net->factors;
}

const int *rl_net_scope(const rl_net *net, int factor, int *count)
{
    assert(factor >= 0 && factor < net->factors);
    *count = net->factor[factor].count;
    return net->factor[factor].variable;
}

/* ---- putting a caller's table in our order ---- */

typedef struct place_axis {
    int lay;
    size_t count, step;
} place_axis;

static double *gather_row(double *out, const double *cells, size_t count, size_t step)
{
    for (; count >= 3; count -= 3, out += 3, cells += 3 * step) {
        out[0] = cells[0];
        out[1] = cells[step];
        out[2] = cells[2 * step];
    }
    for (; count > 0; count--, cells += step)
        *out++ = *cells;
    return out;
}

static double *gather_level(double *out, const double *cells, const place_axis *axes, int rank)
{
    size_t count = axes->count, step = axes->step;
    if (rank == 1)
        return gather_row(out, cells, count, step);
    for (size_t i = 0; i < count; i++, cells += step)
        out = rank == 2 ? gather_row(out, cells, axes[1].count, axes[1].step) : gather_level(out, cells, axes + 1, rank - 1);
    return out;
}

void rl_gather(double *out, const rl_table *table, const int *size, const int *place, const int *lay)
{
    place_axis axes[RL_MOST_AXES];
    int rank = 0;
    size_t step = 1;
    bool sorted = true;
    for (int i = table->count - 1; i >= 0; i--) {
        int p = place[table->variable[i]];
        place_axis here = {.lay = lay ? lay[p] : p, .count = (size_t)size[p], .step = step};
        if (here.count == 1)
            continue;
        step *= here.count;
        assert(rank < RL_MOST_AXES);
        int at = rank++;
        for (; at > 0 && axes[at - 1].lay < here.lay; at--)
            axes[at] = axes[at - 1];
        sorted = sorted && at == rank - 1;
        axes[at] = here;
    }
    /* axes now fall by lay; turn them round */
    for (int i = 0, j = rank - 1; i < j; i++, j--) {
        place_axis swap = axes[i];
        axes[i] = axes[j];
        axes[j] = swap;
    }
    if (sorted || rank == 0)
        memcpy(out, table->cells, step * sizeof *out);
    else
        gather_level(out, table->cells, axes, rank);
}

void rl_table_sum(int count, const int *size, const bool *kept, const double *cells, double *out)
{
    static const double ONE = 1;
    rl_axis axes[RL_MOST_AXES];
    int rank = 0;
    size_t from = 1, to = 1;
    for (int i = count; i-- > 0; from *= (size_t)size[i]) {
        if (size[i] > 1)
            rank = rl_add_axis(axes, rank, (rl_axis){(size_t)size[i], kept[i] ? to : 0, from, 0});
        to *= kept[i] ? (size_t)size[i] : 1;
    }
    rl_multiply(out, cells, &ONE, axes, rank);
}

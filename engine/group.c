/* group.c: see group.h. */
#include "group.h"

#include <assert.h>
#include <string.h>

enum { MOST_GROUP_CELLS = 1 << 18, MOST_GROUPS_CELLS = 1 << 24 };

bool rl_group_may_spend_cells(rl_groups *groups, double cells)
{
    if (groups->most_spent <= 0)
        return true;
    groups->spent += cells;
    return groups->spent <= groups->most_spent;
}

bool rl_group_may_spend(rl_groups *groups, const rl_bench *bench)
{
    return rl_group_may_spend_cells(groups, rl_plan_cells(bench->plan));
}

int rl_place_in(const int *list, int count, int variable)
{
    int low = 0, high = count;
    while (low < high) {
        int middle = (low + high) / 2;
        if (list[middle] < variable)
            low = middle + 1;
        else
            high = middle;
    }
    return low < count && list[low] == variable ? low : -1;
}

static bool covers(const int *list, int count, const int *some, int some_count)
{
    for (int i = 0; i < some_count; i++)
        if (rl_place_in(list, count, some[i]) < 0)
            return false;
    return true;
}

int rl_place_insert(int *list, int count, int variable)
{
    if (rl_place_in(list, count, variable) >= 0)
        return count;
    int at = count;
    for (; at > 0 && list[at - 1] > variable; at--)
        list[at] = list[at - 1];
    list[at] = variable;
    return count + 1;
}

/* A list as a set in which some variables share a place: what it lacks, the list lacks. */
static uint64_t mask_of(const int *list, int count)
{
    uint64_t mask = 0;
    for (int i = 0; i < count; i++)
        mask |= (uint64_t)1 << (list[i] % 64);
    return mask;
}

static double cells_of(const rl_net *net, const int *list, int count)
{
    double cells = 1;
    for (int i = 0; i < count; i++)
        cells *= rl_net_size(net, list[i]);
    return cells;
}

static rl_group *new_group(rl_groups *groups, const int *list, int count)
{
    if (groups->count == groups->room) {
        int room = groups->room ? groups->room * 2 : 32;
        rl_group *more = rl_many(groups->arena, room, rl_group);
        if (groups->count > 0)
            memcpy(more, groups->at, (size_t)groups->count * sizeof *more);
        groups->at = more;
        groups->room = room;
    }
    rl_group *g = &groups->at[groups->count++];
    *g = (rl_group){.count = count, .variable = rl_many(groups->arena, count + 1, int), .mask = mask_of(list, count)};
    if (count > 0)
        memcpy(g->variable, list, (size_t)count * sizeof *list);
    return g;
}

/* Sums a wider group's joint down to a part of its variables. */
static void sum_wider(const rl_net *net, const rl_group *wider, const int *list, int count, double *out)
{
    int size[64];
    bool kept[64];
    assert(wider->count <= 64);
    for (int i = 0; i < wider->count; i++) {
        size[i] = rl_net_size(net, wider->variable[i]);
        kept[i] = rl_place_in(list, count, wider->variable[i]) >= 0;
    }
    rl_table_sum(wider->count, size, kept, wider->joint, out);
}

const rl_tree *rl_group_tree(rl_groups *groups, const rl_bench *bench, const rl_group *group)
{
    const rl_net *net = bench->network.net;
    rl_group *g = &groups->at[group - groups->at];
    if (g->tree)
        return g->tree;
    rl_net *own = rl_net_new(groups->arena);
    int *variable = rl_many(groups->arena, g->count + 1, int);
    for (int i = 0; i < g->count; i++)
        variable[i] = rl_net_variable(own, rl_net_size(net, g->variable[i]));
    rl_net_factor(own, g->count, variable, g->joint);
    g->tree = rl_tree_make(groups->arena, own, rl_plan_make(groups->arena, own));
    rl_tree_collect(g->tree);
    rl_tree_distribute(g->tree);
    return g->tree;
}

static rl_recall *recall_of(rl_groups *groups, const rl_bench *bench)
{
    if (!groups->recall)
        groups->recall = rl_recall_make(groups->arena, bench->tree);
    return groups->recall;
}

bool rl_group_query(rl_groups *groups, const rl_bench *bench, rl_arena *scratch, const rl_extension *extension, double *out)
{
    return rl_group_may_spend(groups, bench) && rl_recall_query(recall_of(groups, bench), scratch, extension, out);
}

bool rl_group_ask(rl_groups *groups, const rl_bench *bench, rl_arena *scratch, double most_cells, int count,
                  const int *list, double *out)
{
    return rl_group_may_spend(groups, bench) && rl_recall_joint(recall_of(groups, bench), scratch, most_cells, count, list, out);
}

/* A group of its own for these variables, from the net or from a wider group; NULL: too wide. */
static const rl_group *add_group(rl_groups *groups, const rl_bench *bench, rl_arena *scratch, const rl_group *wider,
                                 const int *list, int count, double most)
{
    double cells = cells_of(bench->network.net, list, count);
    double *joint = rl_raw(groups->arena, cells, double);
    if (wider)
        sum_wider(bench->network.net, wider, list, count, joint);
    else if (!rl_group_ask(groups, bench, scratch, most, count, list, joint))
        return NULL;
    rl_group *g = new_group(groups, list, count);
    g->cells = cells;
    g->joint = joint;
    groups->cells += cells;
    return g;
}

/* Between two questions: gives the memory back when there is too much of it. */
static void begin_anew(rl_groups *groups)
{
    if (groups->cells <= MOST_GROUPS_CELLS)
        return;
    rl_arena_rewind(groups->arena, groups->start);
    groups->count = groups->room = 0;
    groups->at = NULL;
    groups->cells = 0;
    groups->recall = NULL;
}

/* The smallest group that covers these variables, or NULL. */
static const rl_group *covering_group(const rl_groups *groups, const int *list, int count)
{
    const rl_group *best = NULL;
    uint64_t mask = mask_of(list, count);
    for (int i = 0; i < groups->count; i++) {
        const rl_group *g = &groups->at[i];
        if ((mask & ~g->mask) == 0 && (!best || g->cells < best->cells) && covers(g->variable, g->count, list, count))
            best = g;
    }
    return best;
}

const rl_group *rl_group_for(rl_groups *groups, const rl_bench *bench, rl_arena *scratch, const int *list, int count)
{
    begin_anew(groups);
    const rl_net *net = bench->network.net;
    const rl_group *wider = covering_group(groups, list, count);
    if (wider && wider->count == count)
        return wider;
    if (!wider && cells_of(net, groups->hint, groups->hint_count) <= MOST_GROUP_CELLS &&
        covers(groups->hint, groups->hint_count, list, count)) {
        wider = add_group(groups, bench, scratch, NULL, groups->hint, groups->hint_count, RL_GROUP_CELLS);
        if (wider && wider->count == count)
            return wider;
    }
    return wider || cells_of(net, list, count) <= MOST_GROUP_CELLS ? add_group(groups, bench, scratch, wider, list, count, RL_GROUP_CELLS)
               : NULL;
}

const double *rl_group_joint_within(rl_groups *groups, const rl_bench *bench, rl_arena *scratch, const int *list, int count,
                                    double most_cells)
{
    if (cells_of(bench->network.net, list, count) > MOST_GROUP_CELLS)
        return NULL;
    begin_anew(groups);
    const rl_group *wider = covering_group(groups, list, count);
    if (!wider || wider->count > count)
        wider = add_group(groups, bench, scratch, wider, list, count, most_cells);
    return wider ? wider->joint : NULL;
}

const double *rl_group_joint(rl_groups *groups, const rl_bench *bench, rl_arena *scratch, const int *list, int count)
{
    return rl_group_joint_within(groups, bench, scratch, list, count, RL_GROUP_CELLS);
}

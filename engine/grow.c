/* grow.c: a plan for a net that has grown, from the plan that it had.
 *
 * Buckets that no further factor speaks of, and whose children none speaks of, stay as they were: their
 * variables are summed out first, in the old order, by the old joins, and their messages are still right.  What
 * is left, with the new variables, is ordered anew.
 * Invariant: the old plan and its tree outlive what grew from them; tables lie as they did.
 */
#include "infer_private.h"

#include <assert.h>
#include <string.h>

/* Which buckets something further speaks of, or of a bucket below. */
static bool *find_changed(rl_arena *arena, const rl_net *net, const rl_plan *old)
{
    bool *changed = rl_many(arena, old->variables, bool);
    for (int f = old->factors; f < net->factors; f++)
        for (int i = 0; i < net->factor[f].count; i++)
            if (net->factor[f].variable[i] < old->variables)
                changed[old->place[net->factor[f].variable[i]]] = true;
    for (int k = 0; k < old->variables; k++)
        if (changed[k] && old->parent[k] >= 0)
            changed[old->parent[k]] = true;
    return changed;
}

typedef struct growing {
    rl_arena *arena;
    const rl_net *net;
    const rl_plan *old;
    const bool *changed;        /* by old bucket */
    int *variable, *number;     /* of the rest: by its own number, and back; -1: not of it */
    int count;
    rl_net *rest;
    int *scope;                 /* room for one factor's */
} growing;

static void add_rest(growing *g, int variable)
{
    g->number[variable] = rl_net_variable(g->rest, g->net->size[variable]);
    g->variable[g->count++] = variable;
}

/* The order looks at scopes alone: a message stands for all that was summed into it. */
static void add_scopes(growing *g)
{
    const rl_plan *old = g->old;
    for (int k = 0; k < old->variables; k++) {
        if (g->changed[k] || old->parent[k] < 0 || !g->changed[old->parent[k]])
            continue;
        for (int i = 1; i < rl_scope_count(old, k); i++)
            g->scope[i - 1] = g->number[old->order[rl_scope(old, k)[i]]];
        rl_net_factor(g->rest, rl_scope_count(old, k) - 1, g->scope, NULL);
    }
    for (int f = 0; f < g->net->factors; f++) {
        const rl_table *table = &g->net->factor[f];
        bool all = table->count > 1;
        for (int i = 0; i < table->count && all; i++)
            all = (g->scope[i] = g->number[table->variable[i]]) >= 0;
        if (all)
            rl_net_factor(g->rest, table->count, g->scope, NULL);
    }
}

/* The order: what stays, then the rest. */
static const int *order_of(growing *g, int *was)
{
    int n = g->net->variables, kept = 0;
    int *order = rl_raw(g->arena, n, int);
    for (int k = 0; k < g->old->variables; k++)
        if (!g->changed[k]) {
            was[kept] = k;
            order[kept++] = g->old->order[k];
        }
    assert(kept + g->count == n);
    rl_order(g->arena, g->rest, order + kept);
    for (int k = kept; k < n; k++) {
        was[k] = -1;
        order[k] = g->variable[order[k]];
    }
    return order;
}

rl_plan *rl_plan_grow(rl_arena *arena, const rl_net *net, const rl_plan *old)
{
    int n = net->variables;
    assert(n >= old->variables && net->factors >= old->factors);
    growing g = {.arena = arena, .net = net, .old = old, .changed = find_changed(arena, net, old),
                 .variable = rl_raw(arena, n, int), .number = rl_raw(arena, n, int), .rest = rl_net_new(arena),
                 .scope = rl_raw(arena, n, int)};
    for (int v = 0; v < n; v++) {
        g.number[v] = -1;
        if (v >= old->variables || g.changed[old->place[v]])
            add_rest(&g, v);
    }
    add_scopes(&g);
    int *was = rl_raw(arena, n, int);
    rl_plan *plan = rl_plan_of_order(arena, net, order_of(&g, was));
    plan->was = was;
    rl_program_make(arena, plan, net, old);
    return plan;
}

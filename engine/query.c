/* query.c: distributions of variables that stand in no one bucket, or that are
 * not in the net at all.
 *
 * The tables of the buckets that cover the net's variables asked about (cover.c), and the
 * caller's, are the parts of a small product of its own (product.c).
 * Invariant: the tree is not changed.
 */
#include "cover.h"
#include "product.h"

#include <assert.h>
#include <stdint.h>
#include <string.h>

typedef struct asking {
    const rl_tree *tree;
    rl_arena *arena;
    const rl_extension *extension;   /* NULL for a joint */
    int *local;                      /* by place, then by variable of the extension: its number in the product; -1: none */
    rl_cover cover;
    rl_product product;
} asking;

static void start(asking *ask)
{
    int n = ask->tree->buckets, all = n + (ask->extension != NULL ? ask->extension->variables : 0);
    ask->local = rl_raw(ask->arena, all, int);
    memset(ask->local, 0xff, (size_t)all * sizeof(int));
    rl_cover_start(&ask->cover, ask->tree, ask->arena);
}

/* Names a variable of the net as asked about. */
static void ask_about(asking *ask, int variable)
{
    int place = ask->tree->plan->place[variable];
    if (ask->local[place] >= 0)
        return;
    ask->local[place] = 0;   /* numbered later */
    rl_cover_ask(&ask->cover, place);
}

/* Numbers all variables of the cover by rising place, then those of the extension, and makes
 * room for all parts. */
static void number_all(asking *ask)
{
    const rl_plan *plan = ask->tree->plan;
    const rl_extension *extension = ask->extension;
    int met = 0, extra = extension != NULL ? extension->variables : 0, tables = extension != NULL ? extension->tables : 0;
    for (int i = 0; i < ask->cover.buckets; i++) {
        const int *scope = rl_scope(plan, ask->cover.bucket[i]);
        for (int j = 0; j < rl_scope_count(plan, ask->cover.bucket[i]); j++)
            ask->local[scope[j]] = 0;
    }
    for (int k = 0; k < plan->variables; k++)
        met += ask->local[k] == 0;
    rl_product_make(&ask->product, ask->arena, met + extra, ask->cover.buckets + tables);
    for (int k = 0; k < plan->variables; k++)
        if (ask->local[k] == 0)
            ask->local[k] = rl_product_variable(&ask->product, plan->size[k]);
    for (int i = 0; i < extra; i++)
        ask->local[plan->variables + i] = rl_product_variable(&ask->product, extension->size[i]);
}

static void add_bucket(asking *ask, int k, bool top)
{
    const rl_plan *plan = ask->tree->plan;
    const rl_part *message = &plan->part[rl_message_part(plan, k)];
    int *variable = rl_raw(ask->arena, message->count + 1, int);
    variable[0] = ask->local[k];
    for (int i = 0; i < message->count; i++)
        variable[i + 1] = ask->local[message->place[i]];
    rl_product_add(&ask->product, variable, message->count + 1, rl_cover_table(ask->tree, ask->arena, k, top));
}

static void add_table(asking *ask, const rl_table *table)
{
    int n = ask->tree->buckets, *variable = rl_raw(ask->arena, table->count, int);
    for (int i = 0; i < table->count; i++) {
        int v = table->variable[i];
        variable[i] = ask->local[v < n ? ask->tree->plan->place[v] : v];
    }
    rl_product_add(&ask->product, variable, table->count, table->cells);
}

static void add_parts(asking *ask)
{
    rl_cover_find(&ask->cover);
    number_all(ask);
    for (int i = 0; i < ask->cover.buckets; i++)
        add_bucket(ask, ask->cover.bucket[i], ask->cover.top[i]);
    for (int i = 0; ask->extension != NULL && i < ask->extension->tables; i++)
        add_table(ask, &ask->extension->table[i]);
}

bool rl_tree_query(const rl_tree *tree, rl_arena *arena, const rl_extension *extension, double *out)
{
    rl_mark mark = rl_arena_mark(arena);
    asking ask = {.tree = tree, .arena = arena, .extension = extension};
    int n = tree->buckets, target = extension->target;
    assert(target >= n && target < n + extension->variables);
    start(&ask);
    for (int i = 0; i < extension->tables; i++)
        for (int j = 0; j < extension->table[i].count; j++)
            if (extension->table[i].variable[j] < n)
                ask_about(&ask, extension->table[i].variable[j]);
    add_parts(&ask);
    ask.product.kept[ask.local[target]] = true;
    ask.product.most = extension->most_cells;
    bool answered = rl_product_reduce(&ask.product, 1, &ask.local[target], out);
    rl_arena_rewind(arena, mark);
    return answered;
}

bool rl_tree_joint_within(const rl_tree *tree, rl_arena *arena, double most_cells, int count, const int *variable,
                          double *out)
{
    if (count >= 2 && rl_factor_joint(tree, arena, count, variable, out))
        return true;
    rl_mark mark = rl_arena_mark(arena);
    asking ask = {.tree = tree, .arena = arena};
    start(&ask);
    for (int i = 0; i < count; i++)
        ask_about(&ask, variable[i]);
    add_parts(&ask);
    int *keep = rl_raw(arena, count, int);
    for (int i = 0; i < count; i++) {
        keep[i] = ask.local[tree->plan->place[variable[i]]];
        ask.product.kept[keep[i]] = true;
    }
    ask.product.most = most_cells;
    bool answered = rl_product_reduce(&ask.product, count, keep, out);
    rl_arena_rewind(arena, mark);
    return answered;
}

void rl_tree_joint(const rl_tree *tree, rl_arena *arena, int count, const int *variable, double *out)
{
    bool answered = rl_tree_joint_within(tree, arena, 0, count, variable, out);
    assert(answered);
    (void)answered;
}

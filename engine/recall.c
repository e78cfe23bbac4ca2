/* recall.c: joints of a tree's variables that have most of their work in common.
 *
 * Of the variables asked about, those below a bucket tell the rest of the net about no more
 * than its separator: their law given that is worked out on the way up, bucket by bucket, and
 * kept, as long as it is small.  Where the ways of several meet, or a law would grow too large,
 * what has come up becomes a part of a product, and so do the buckets from there on.
 * Invariant: what is kept of a bucket is the exact law, given its separator, of the variables
 * asked about in it and below it.
 */
#include "cover.h"
#include "product.h"

#include <assert.h>
#include <string.h>

/* Of a law: combinations of what was asked about, and cells; of all that is kept, cells. */
enum { MOST_ASKED = 64, MOST_CELLS = 1 << 14, MOST_KEPT = 1 << 21, MOST_TOGETHER = 8 };

typedef struct kept_law {
    struct kept_law *next;
    int asked, place[MOST_TOGETHER];   /* rising */
    rl_part part;                      /* these and the bucket's separator, by rising lay */
    const double *cell;
} kept_law;

struct rl_recall {
    rl_arena *arena;
    const rl_tree *tree;
    kept_law **law, **belief;          /* by bucket; of beliefs one at the most */
    double cells;                      /* of all that is kept */
};

rl_recall *rl_recall_make(rl_arena *arena, const rl_tree *tree)
{
    rl_recall *r = rl_new(arena, rl_recall);
    *r = (rl_recall){arena, tree, rl_many(arena, tree->buckets, kept_law *), rl_many(arena, tree->buckets, kept_law *), 0};
    return r;
}

/* ---- lists of places by rising lay ---- */

static int unite(const rl_plan *plan, const rl_part *a, const rl_part *b, int *out)
{
    int count = 0;
    for (int i = 0, j = 0; i < a->count || j < b->count;) {
        int next = j == b->count || (i < a->count && plan->lay[a->place[i]] <= plan->lay[b->place[j]]) ? a->place[i] : b->place[j];
        i += i < a->count && a->place[i] == next;
        j += j < b->count && b->place[j] == next;
        out[count++] = next;
    }
    return count;
}

static double cells_of(const rl_plan *plan, const int *place, int count)
{
    double cells = 1;
    for (int i = 0; i < count; i++)
        cells *= plan->size[place[i]];
    return cells;
}

static void leave_out(rl_part *part, int *place, int without)
{
    int left = 0;
    for (int i = 0; i < part->count; i++)
        if (place[i] != without)
            place[left++] = place[i];
    part->count = left;
}

/* The variables of the product of two laws but for `without` (-1: none), in memory of `arena`. */
static rl_part united(rl_arena *arena, const rl_plan *plan, const rl_part *a, const rl_part *b, int without)
{
    int *place = rl_raw(arena, a->count + b->count, int);
    rl_part out = {.count = unite(plan, a, b, place), .place = place, .factor = -1, .room = -1};
    leave_out(&out, place, without);
    out.cells = (size_t)cells_of(plan, place, out.count);
    return out;
}

/* ---- what a bucket says by itself ---- */

/* A bucket's table, law or belief, by rising lay. */
static kept_law *table_of(rl_recall *r, rl_arena *scratch, int k, bool top)
{
    static const double ONE = 1;
    const rl_plan *plan = r->tree->plan;
    const rl_part *message = &plan->part[rl_message_part(plan, k)], unit = {.count = 0, .cells = 1};
    rl_part own = {.count = 1, .place = rl_scope(plan, k), .cells = (size_t)plan->size[k]};
    kept_law *law = rl_new(r->arena, kept_law);
    *law = (kept_law){.asked = 1, .place = {k}, .part = united(r->arena, plan, &own, message, -1)};
    double *cell = rl_raw(r->arena, law->part.cells, double);
    rl_mark mark = rl_arena_mark(scratch);
    const double *table = rl_cover_table(r->tree, scratch, k, top);
    rl_axis axes[RL_MOST_AXES];
    int rank = rl_bucket_axes(plan, k, &law->part, &unit, axes);
    for (int i = 0; i < rank; i++) {   /* the table is the one read, the law the one written */
        axes[i].right = axes[i].out;
        axes[i].out = axes[i].left;
        axes[i].left = axes[i].right;
        axes[i].right = 0;
    }
    rl_multiply(cell, table, &ONE, axes, rank);
    rl_arena_rewind(scratch, mark);
    law->cell = cell;
    r->cells += (double)law->part.cells;
    return law;
}

static const kept_law *law_of(rl_recall *r, rl_arena *scratch, int k)
{
    for (const kept_law *l = r->law[k]; l; l = l->next)
        if (l->asked == 1 && l->place[0] == k)
            return l;
    kept_law *law = table_of(r, scratch, k, false);
    law->next = r->law[k];
    r->law[k] = law;
    return law;
}

static const kept_law *belief_of(rl_recall *r, rl_arena *scratch, int k)
{
    if (!r->belief[k])
        r->belief[k] = table_of(r, scratch, k, true);
    return r->belief[k];
}

/* ---- what comes up to a bucket ---- */

typedef struct climber { const kept_law *law; struct climber *next; } climber;

/* A bucket of the cover. */
typedef struct station {
    bool asked;
    bool apart;              /* what is below it stays in parts: so does it */
    climber *up;
} station;

/* The places asked about, in the bucket and below; false: too much for one law. */
static bool list_asked(const rl_plan *plan, int k, const station *s, kept_law *out)
{
    double rows = 1;
    for (const climber *c = s->up; c; c = c->next)
        for (int i = 0; i < c->law->asked; i++) {
            int at = out->asked++;
            if (at + 1 >= MOST_TOGETHER)
                return false;
            for (; at > 0 && out->place[at - 1] > c->law->place[i]; at--)
                out->place[at] = out->place[at - 1];
            out->place[at] = c->law->place[i];
        }
    if (s->asked)
        out->place[out->asked++] = k;   /* none below it is later */
    for (int i = 0; i < out->asked; i++)
        rows *= plan->size[out->place[i]];
    return rows <= MOST_ASKED;
}

static const kept_law *find_law(const rl_recall *r, int k, const kept_law *like)
{
    for (const kept_law *l = r->law[k]; l; l = l->next)
        if (l->asked == like->asked && memcmp(l->place, like->place, (size_t)like->asked * sizeof(int)) == 0)
            return l;
    return NULL;
}

/* Law times what comes up, summed over `without`; false: too large. */
static bool multiply(const rl_recall *r, rl_arena *arena, kept_law *into, const kept_law *by, int without)
{
    const rl_plan *plan = r->tree->plan;
    rl_axis axes[RL_MOST_AXES];
    rl_part out = united(arena, plan, &into->part, &by->part, without);
    double cells = cells_of(plan, out.place, out.count);
    if (cells > MOST_CELLS)
        return false;
    double *cell = rl_raw(arena, out.cells, double);
    int rank = rl_axes_of(plan->size, plan->lay, &out, &into->part, &by->part, axes);
    rl_multiply(cell, into->cell, by->cell, axes, rank);
    into->part = out;
    into->cell = cell;
    return true;
}

/* The law, given the bucket's separator, of all that was asked about below it, and of its own
 * variable if that was; NULL: too large. */
static const kept_law *climb(rl_recall *r, rl_arena *scratch, int k, const station *s)
{
    kept_law fresh = {.asked = 0};
    if (s->apart || r->cells > MOST_KEPT || !list_asked(r->tree->plan, k, s, &fresh))
        return NULL;
    const kept_law *own = find_law(r, k, &fresh);
    if (own || !s->up)
        return own ? own : law_of(r, scratch, k);
    own = law_of(r, scratch, k);
    fresh.part = own->part;
    fresh.cell = own->cell;
    for (const climber *c = s->up; c; c = c->next)
        if (!multiply(r, c->next ? scratch : r->arena, &fresh, c->law, c->next || s->asked ? -1 : k))
            return NULL;
    kept_law *kept = rl_new(r->arena, kept_law);
    *kept = fresh;
    kept->next = r->law[k];
    r->law[k] = kept;
    r->cells += (double)kept->part.cells;
    return kept;
}

/* ---- questions ---- */

typedef struct asking {
    rl_recall *recall;
    rl_arena *arena;
    rl_cover cover;
    station *station;        /* by bucket of the cover */
    int *number;             /* by place: its bucket's in the cover; then its variable's in the product, and behind
                              * all places those of the extension's variables */
    const kept_law **part;
    int parts;
    const rl_extension *extension;   /* NULL: none */
    rl_product product;
} asking;

static void start(asking *ask, int count, const int *variable)
{
    const rl_plan *plan = ask->recall->tree->plan;
    rl_cover_start(&ask->cover, ask->recall->tree, ask->arena);
    for (int i = 0; i < count; i++)
        rl_cover_ask(&ask->cover, plan->place[variable[i]]);
    rl_cover_find(&ask->cover);
    ask->station = rl_many(ask->arena, ask->cover.buckets, station);
    ask->part = rl_raw(ask->arena, 2 * ask->cover.buckets, const kept_law *);
    ask->number = rl_raw(ask->arena, plan->variables + (ask->extension ? ask->extension->variables : 0), int);
    memset(ask->number, 0xff, (size_t)plan->variables * sizeof(int));
    for (int i = 0; i < ask->cover.buckets; i++)
        ask->number[ask->cover.bucket[i]] = i;
    for (int i = 0; i < count; i++)   /* others stand in the scope of a top */
        if (ask->number[plan->place[variable[i]]] >= 0)
            ask->station[ask->number[plan->place[variable[i]]]].asked = true;
}

/* A bucket that stays a part, and all that has come up to it. */
static void stay(asking *ask, const station *s, const kept_law *own)
{
    for (const climber *c = s->up; c; c = c->next)
        ask->part[ask->parts++] = c->law;
    ask->part[ask->parts++] = own;
}

static void pass(asking *ask, int at)
{
    rl_recall *r = ask->recall;
    int k = ask->cover.bucket[at];
    station *s = &ask->station[at];
    if (ask->cover.top[at]) {
        stay(ask, s, belief_of(r, ask->arena, k));
        return;
    }
    station *above = &ask->station[ask->number[r->tree->plan->parent[k]]];
    const kept_law *law = climb(r, ask->arena, k, s);
    if (!law) {
        stay(ask, s, law_of(r, ask->arena, k));
        above->apart = true;
        return;
    }
    climber *up = rl_new(ask->arena, climber);
    *up = (climber){law, above->up};
    above->up = up;
}

/* Numbers the variables of all parts by rising place. */
static void number_all(asking *ask)
{
    const rl_plan *plan = ask->recall->tree->plan;
    const rl_extension *extension = ask->extension;
    int variables = 0, extra = extension ? extension->variables : 0;
    memset(ask->number, 0xff, (size_t)plan->variables * sizeof(int));
    for (int i = 0; i < ask->parts; i++) {
        const rl_part *part = &ask->part[i]->part;
        for (int k = 0; k < part->count; k++) {
            variables += ask->number[part->place[k]] < 0;
            ask->number[part->place[k]] = 0;
        }
    }
    rl_product_make(&ask->product, ask->arena, variables + extra, ask->parts + (extension ? extension->tables : 0));
    for (int k = 0; k < plan->variables; k++)
        if (ask->number[k] == 0)
            ask->number[k] = rl_product_variable(&ask->product, plan->size[k]);
    for (int i = 0; i < extra; i++)
        ask->number[plan->variables + i] = rl_product_variable(&ask->product, extension->size[i]);
}

static void add_part(asking *ask, const int *place, int count, const double *cell)
{
    int variable[RL_MOST_AXES];
    assert(count <= RL_MOST_AXES);
    for (int i = 0; i < count; i++)
        variable[i] = ask->number[place[i]];
    rl_product_add(&ask->product, variable, count, cell);
}

static void add_table(asking *ask, const rl_table *table)
{
    const rl_plan *plan = ask->recall->tree->plan;
    int place[RL_MOST_AXES];
    assert(table->count <= RL_MOST_AXES);
    for (int i = 0; i < table->count; i++)
        place[i] = table->variable[i] < plan->variables ? plan->place[table->variable[i]] : table->variable[i];
    add_part(ask, place, table->count, table->cells);
}

/* The product of all that tells about the net's variables, and of the extension. */
static void gather(asking *ask, int count, const int *variable)
{
    start(ask, count, variable);
    for (int i = 0; i < ask->cover.buckets; i++)
        pass(ask, i);
    number_all(ask);
    for (int i = 0; i < ask->parts; i++)
        add_part(ask, ask->part[i]->part.place, ask->part[i]->part.count, ask->part[i]->cell);
    for (int i = 0; ask->extension && i < ask->extension->tables; i++)
        add_table(ask, &ask->extension->table[i]);
}

bool rl_recall_joint(rl_recall *recall, rl_arena *scratch, double most_cells, int count, const int *variable, double *out)
{
    if (count >= 2 && rl_factor_joint(recall->tree, scratch, count, variable, out))
        return true;
    rl_mark mark = rl_arena_mark(scratch);
    asking ask = {.recall = recall, .arena = scratch};
    gather(&ask, count, variable);
    int *keep = rl_raw(scratch, count, int);
    for (int i = 0; i < count; i++) {
        keep[i] = ask.number[recall->tree->plan->place[variable[i]]];
        ask.product.kept[keep[i]] = true;
    }
    ask.product.most = most_cells;
    bool answered = rl_product_reduce(&ask.product, count, keep, out);
    rl_arena_rewind(scratch, mark);
    return answered;
}

/* The net's variables that an extension speaks of, each once. */
static int list_variables(const rl_extension *extension, int variables, bool *met, int *list)
{
    int count = 0;
    for (int i = 0; i < extension->tables; i++)
        for (int k = 0; k < extension->table[i].count; k++) {
            int v = extension->table[i].variable[k];
            if (v >= variables || met[v])
                continue;
            met[v] = true;
            list[count++] = v;
        }
    return count;
}

bool rl_recall_query(rl_recall *recall, rl_arena *scratch, const rl_extension *extension, double *out)
{
    rl_mark mark = rl_arena_mark(scratch);
    int n = recall->tree->buckets, *list = rl_raw(scratch, n, int);
    asking ask = {.recall = recall, .arena = scratch, .extension = extension};
    assert(extension->target >= n && extension->target < n + extension->variables);
    gather(&ask, list_variables(extension, n, rl_many(scratch, n, bool), list), list);
    ask.product.kept[ask.number[extension->target]] = true;
    ask.product.most = extension->most_cells;
    bool answered = rl_product_reduce(&ask.product, 1, &ask.number[extension->target], out);
    rl_arena_rewind(scratch, mark);
    return answered;
}

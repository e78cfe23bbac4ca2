/* eliminate.c: messages on the tree of buckets.
 *
 * Upwards, each bucket runs its joins: its own terms, its factors and its
 * children's messages are multiplied and its variable is summed out: its
 * message, scaled so that its greatest cell is near 1.  The way down is in back.c.
 * Cells never exceed 1 on the way up, so each multiplication loses at most the
 * least double to underflow; `loss` adds that up.  Should it reach what matters
 * (or a message vanish, or beliefs fail to sum to 1 on the way down), the pass
 * is done again in logarithms, which also tells a true 0 from a lost one.
 * Invariant: after a collect the message of every bucket times its scale is
 * its product summed over its variable; nothing is done again that no changed
 * weight touches.
 */
#include "infer_private.h"

#include <assert.h>
#include <float.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

/* Smaller parts than this of the total are of no account, in any marginal. */
static const double NO_ACCOUNT = 1e-60;
/* Messages all below this cannot be scaled up safely. */
static const double FAINTEST = 1e-290;

/* ln of a product of many numbers, without a logarithm for each. */
typedef struct log_sum {
    double logs, product;
} log_sum;

static inline void log_add(log_sum *sum, double factor)
{
    double product = sum->product * factor;
    if (product > 1e-200 && product < 1e200) {
        sum->product = product;
    } else {
        sum->logs += log(sum->product) + log(factor);
        sum->product = 1;
    }
}

static inline double log_total(const log_sum *sum)
{
    return sum->logs + log(sum->product);
}

/* ---- building ---- */

static double *take_cells(rl_arena *arena, size_t count)
{
    if (count > SIZE_MAX / (4 * sizeof(double)))
        return rl_arena_raw(arena, SIZE_MAX);   /* bails */
    return rl_arena_raw(arena, count * sizeof(double));
}

typedef struct making {
    rl_arena *arena;
    double *room;        /* for small tables, and how many cells of it are left */
    size_t room_left;
    const rl_net *net;
    const rl_plan *plan;
    rl_tree *tree;
    const rl_tree *old;  /* that the tree grows from, or NULL */
    int known;           /* factors that it has */
    log_sum taken;
    log_sum *term;       /* by value of the variable at hand */
} making;

static double *take_few(making *work, size_t count)
{
    enum { FEW = 128, ROOM = 512 };
    if (count > FEW)
        return take_cells(work->arena, count);
    if (count > work->room_left) {
        work->room = take_cells(work->arena, ROOM);
        work->room_left = ROOM;
    }
    double *taken = work->room;
    work->room += count;
    work->room_left -= count;
    return taken;
}

/* Whether cells of which this is the greatest may stay as they are. */
static inline bool near_one(double greatest)
{
    return greatest <= 1 && greatest >= 0.25;
}

/* Makes the greatest cell 1 unless it is near. */
static void level(making *work, double *cells, size_t count)
{
    double greatest = rl_greatest(cells, count);
    assert(greatest < INFINITY);
    if (!near_one(greatest) && greatest > 0) {
        log_add(&work->taken, greatest);
        for (size_t i = 0; i < count; i++)
            cells[i] /= greatest;
    }
    work->tree->zero = work->tree->zero || greatest == 0;
}

static void fill_factor(making *work, int part)
{
    const rl_part *p = &work->plan->part[part];
    double *cells = work->tree->value[part];
    rl_gather(cells, &work->net->factor[p->factor], work->plan->size, work->plan->place, work->plan->lay);
    level(work, cells, p->cells);
}

/* The product of a value's unary factors; hundreds of them may pull in different ways. */
static bool take_terms(making *work, int k)
{
    size_t size = (size_t)work->plan->size[k];
    int variable = work->plan->order[k];
    const rl_bucket *known = work->old && variable < work->old->buckets ? &work->old->bucket[work->old->plan->place[variable]] : NULL;
    bool wide = false;
    for (size_t i = 0; i < size; i++)
        work->term[i] = (log_sum){0, known ? known->terms[i] : 1};
    for (int f = work->plan->first_factor[k]; f >= 0; f = work->plan->next_factor[f]) {
        const rl_table *table = &work->net->factor[f];
        for (size_t i = 0; table->count == 1 && f >= work->known && i < size; i++)
            log_add(&work->term[i], table->cells[i]);
    }
    for (size_t i = 0; i < size; i++)
        wide = wide || work->term[i].logs != 0;
    return wide;
}

static void make_terms(making *work, int k)
{
    size_t size = (size_t)work->plan->size[k];
    double *terms = work->tree->bucket[k].terms, greatest = -INFINITY;
    if (!take_terms(work, k)) {
        for (size_t i = 0; i < size; i++)
            terms[i] = work->term[i].product;
        level(work, terms, size);
        return;
    }
    for (size_t i = 0; i < size; i++)
        greatest = fmax(greatest, terms[i] = log_total(&work->term[i]));
    work->tree->zero = work->tree->zero || greatest == -INFINITY;
    if (greatest > -INFINITY)
        work->taken.logs += greatest;
    for (size_t i = 0; i < size; i++)
        terms[i] = greatest > -INFINITY ? exp(terms[i] - greatest) : 0;
}

/* A part with a value and a bar in one piece of memory. */
static void make_part(making *work, int part)
{
    size_t cells = work->plan->part[part].cells;
    double *room = take_few(work, 2 * cells);
    work->tree->value[part] = room;
    work->tree->bar[part] = room + cells;
}

static void make_bucket(making *work, int k)
{
    const rl_plan *plan = work->plan;
    rl_tree *tree = work->tree;
    rl_bucket *bucket = &tree->bucket[k];
    size_t size = (size_t)plan->size[k];
    double *room = take_few(work, 3 * size);
    bucket->terms = room;
    bucket->weight = room + size;
    bucket->marginal = room + 2 * size;
    bucket->changed = true;
    bucket->scale = 1;
    make_part(work, k);
    make_part(work, rl_message_part(plan, k));
    tree->root[k] = plan->parent[k] < 0 ? k : tree->root[plan->parent[k]];
    make_terms(work, k);
}

/* Factors without variables. */
static void take_scalars(making *work)
{
    for (int f = work->known; f < work->net->factors; f++)
        if (work->net->factor[f].count == 0) {
            double cell = work->net->factor[f].cells[0];
            if (cell > 0)
                log_add(&work->taken, cell);
            else
                work->tree->zero = true;
        }
}

/* A part that is neither own nor message. */
static void make_made(making *work, int part)
{
    const rl_part *p = &work->plan->part[part];
    if (p->factor >= 0) {
        work->tree->value[part] = take_few(work, p->cells);
        fill_factor(work, part);
    } else if (p->cells <= RL_SMALL_PRODUCT)
        make_part(work, part);
    else
        work->tree->value[part] = p->room >= 0 ? work->tree->room[p->room] : take_cells(work->arena, p->cells);
}

/* Where the product of a bucket's own part goes; whether that part is all 1. */
static void find_apart(rl_tree *tree, int k)
{
    const rl_plan *plan = tree->plan;
    rl_bucket *bucket = &tree->bucket[k];
    int out = plan->join[plan->own_join[k]].out;
    bucket->apart_value = tree->value[out];
    bucket->apart_bar = tree->bar[out];
    bucket->bare = true;
    for (int c = plan->child[k]; c >= 0; c = plan->sibling[c])
        bucket->bare = bucket->bare && !rl_speaks_of_one(plan, c);
    for (int i = 0; i < plan->size[k] && bucket->bare; i++)
        bucket->bare = bucket->terms[i] == 1;
}

static int largest_size(const rl_plan *plan)
{
    int most = 1;
    for (int k = 0; k < plan->variables; k++)
        most = plan->size[k] > most ? plan->size[k] : most;
    return most;
}

/* A bucket and its parts as they were. */
static void keep_bucket(making *work, int k)
{
    rl_tree *tree = work->tree;
    const rl_plan *plan = work->plan;
    int was = plan->was[k], message = rl_message_part(plan, k), old = plan->from[message];
    tree->bucket[k] = work->old->bucket[was];
    tree->value[k] = work->old->value[was];
    tree->bar[k] = work->old->bar[was];
    tree->value[message] = work->old->value[old];
    tree->bar[message] = work->old->bar[old];
    tree->root[k] = plan->parent[k] < 0 ? k : tree->root[plan->parent[k]];
}

static void make_all(making *work)
{
    rl_tree *tree = work->tree;
    const rl_plan *plan = work->plan;
    int n = plan->variables;
    work->term = rl_arena_raw(work->arena, (size_t)largest_size(plan) * sizeof *work->term);
    for (int k = n - 1; k >= 0; k--)
        if (work->old && plan->was[k] >= 0)
            keep_bucket(work, k);
        else
            make_bucket(work, k);
    for (int i = 0; i < 2; i++)
        tree->room[i] = take_cells(work->arena, plan->widest_product);
    for (int p = 2 * n; p < plan->parts; p++)
        if (work->old && plan->from[p] >= 0) {
            tree->value[p] = work->old->value[plan->from[p]];
            tree->bar[p] = work->old->bar[plan->from[p]];
        } else {
            make_made(work, p);
        }
    for (int k = 0; k < n; k++)
        if (!work->old || plan->was[k] < 0)
            find_apart(tree, k);
    take_scalars(work);
}

static rl_tree *tree_of(rl_arena *arena, const rl_net *net, const rl_plan *plan, const rl_tree *old)
{
    int n = plan->variables;
    assert(n == net->variables);
    if (plan->cells > (double)(SIZE_MAX / 64))
        rl_arena_raw(arena, SIZE_MAX);   /* bails */
    rl_tree *tree = rl_new(arena, rl_tree);
    making work = {.arena = arena, .net = net, .plan = plan, .tree = tree, .old = old, .taken = {0, 1},
                   .known = old ? old->plan->factors : 0};
    tree->plan = plan;
    tree->arena = arena;
    tree->buckets = n;
    tree->bucket = rl_many(arena, n, rl_bucket);
    tree->root = rl_many(arena, n, int);
    tree->value = rl_many(arena, plan->parts, double *);
    tree->bar = rl_many(arena, plan->parts, double *);
    tree->zero = old && old->zero;
    make_all(&work);
    tree->base_log = (old ? old->base_log : 0) + log_total(&work.taken);
    return tree;
}

rl_tree *rl_tree_make(rl_arena *arena, const rl_net *net, const rl_plan *plan)
{
    return tree_of(arena, net, plan, NULL);
}

rl_tree *rl_tree_grow(rl_arena *arena, const rl_net *net, const rl_plan *plan, const rl_tree *old)
{
    for (int k = 0; k < old->buckets; k++)
        if (old->logs || old->bucket[k].changed || old->bucket[k].weighted)
            return NULL;
    return tree_of(arena, net, plan, old);
}

/* ---- weights ---- */

void rl_tree_weigh(rl_tree *tree, int variable, const double *weight)
{
    assert(variable >= 0 && variable < tree->buckets);
    int k = tree->plan->place[variable];
    rl_bucket *bucket = &tree->bucket[k];
    size_t size = (size_t)tree->plan->size[k];
    bucket->changed = bucket->changed || bucket->weighted || weight != NULL;
    bucket->weighted = weight != NULL;
    bucket->barred = false;
    if (weight == NULL)
        return;
    double greatest = rl_greatest(weight, size);
    bucket->barred = greatest == 0;
    for (size_t i = 0; i < size; i++)
        bucket->weight[i] = bucket->barred ? 0 : weight[i] / greatest;
    bucket->weight_log = bucket->barred ? 0 : log(greatest);
}

/* ---- upwards ---- */

static void multiply_into(double *restrict out, const double *restrict by, size_t count)
{
    for (size_t i = 0; i < count; i++)
        out[i] *= by[i];
}

/* A part of nothing but 1 is not multiplied by: what that would make is the other part itself, and so are
 * the bars. */
static void set_apart(rl_tree *tree, int k)
{
    const rl_bucket *bucket = &tree->bucket[k];
    if (!rl_own_is_apart(tree->plan, k))
        return;
    const rl_join *join = &tree->plan->join[tree->plan->own_join[k]];
    bool same = rl_is_bare(tree, k);
    tree->value[join->out] = same ? tree->value[join->right] : bucket->apart_value;
    tree->bar[join->out] = same && tree->bar[join->right] ? tree->bar[join->right] : bucket->apart_bar;
}

/* All that concerns the bucket's variable alone; returns how many multiplications that took. */
static int make_own(rl_tree *tree, int k)
{
    const rl_plan *plan = tree->plan;
    const rl_bucket *bucket = &tree->bucket[k];
    size_t size = (size_t)plan->size[k];
    double *own = tree->value[k];
    int folds = bucket->weighted;
    set_apart(tree, k);
    memcpy(own, bucket->terms, size * sizeof *own);
    if (rl_is_bare(tree, k))
        return 0;
    if (bucket->weighted)
        multiply_into(own, bucket->weight, size);
    for (int c = plan->child[k]; c >= 0; c = plan->sibling[c])
        if (rl_speaks_of_one(plan, c)) {
            multiply_into(own, tree->value[rl_message_part(plan, c)], size);
            folds++;
        }
    return folds;
}

static void run_join(const rl_tree *tree, const rl_join *join)
{
    static const double ONE = 1;
    rl_multiply(tree->value[join->out], tree->value[join->left], join->right < 0 ? &ONE : tree->value[join->right],
                join->axis, join->rank);
}

/* What underflow may have taken from a message cell, before it is scaled. */
static double lost_below(const rl_tree *tree, int k, int folds)
{
    double lost = folds * DBL_TRUE_MIN;
    for (int c = tree->plan->child[k]; c >= 0; c = tree->plan->sibling[c])
        lost += tree->bucket[c].loss;
    return lost * (double)tree->plan->size[k];
}

/* Whether the bucket's message could be made safely. */
static bool send_up(rl_tree *tree, int k)
{
    const rl_plan *plan = tree->plan;
    rl_bucket *bucket = &tree->bucket[k];
    int folds = make_own(tree, k), part = rl_message_part(plan, k);
    for (int j = plan->first_join[k]; j < plan->first_join[k + 1]; j++, folds++)
        if (!rl_copies(tree, k, j))
            run_join(tree, &plan->join[j]);
    double *message = tree->value[part], greatest = rl_greatest(message, plan->part[part].cells);
    bool root = plan->parent[k] < 0;
    if (greatest < FAINTEST)
        return false;
    bucket->scale = !root && near_one(greatest) ? 1 : greatest;
    if (bucket->scale != 1)
        rl_scale(message, plan->part[part].cells, 1 / greatest);
    bucket->loss = lost_below(tree, k, folds) / bucket->scale;
    if (!root)
        tree->bucket[plan->parent[k]].changed = true;
    bucket->changed = false;
    return !root || bucket->loss < NO_ACCOUNT;
}

/* ln of what was taken out of factors and weights; -INFINITY if one of them is 0 throughout. */
static double taken_out(const rl_tree *tree)
{
    double sum = tree->zero ? -INFINITY : tree->base_log;
    for (int k = 0; k < tree->buckets; k++)
        if (tree->bucket[k].weighted)
            sum += tree->bucket[k].barred ? -INFINITY : tree->bucket[k].weight_log;
    return sum;
}

double rl_tree_collect(rl_tree *tree)
{
    double taken = taken_out(tree);
    log_sum scales = {.logs = 0, .product = 1};
    if (taken == -INFINITY)
        return taken;
    tree->logs = false;
    for (int k = 0; k < tree->buckets; k++) {
        if (tree->bucket[k].changed && !send_up(tree, k))
            return taken + rl_collect_logs(tree);
        log_add(&scales, tree->bucket[k].scale);
    }
    return taken + log_total(&scales);
}

/* ---- other factors in the same places ---- */

static bool differ(const rl_net *from, const rl_net *to, int factor)
{
    const rl_table *a = &from->factor[factor], *b = &to->factor[factor];
    size_t cells = 1;
    assert(a->count == b->count);
    for (int i = 0; i < a->count; i++)
        cells *= (size_t)from->size[a->variable[i]];
    return memcmp(a->cells, b->cells, cells * sizeof *a->cells) != 0;
}

/* The part of a bucket's joins that is this factor. */
static int part_of_factor(const rl_plan *plan, int k, int factor)
{
    int j = plan->first_join[k];
    while (plan->part[plan->join[j].left].factor != factor &&
           (plan->join[j].right < 0 || plan->part[plan->join[j].right].factor != factor))
        j++;
    assert(j < plan->first_join[k + 1]);
    return plan->part[plan->join[j].left].factor == factor ? plan->join[j].left : plan->join[j].right;
}

void rl_tree_exchange(rl_tree *tree, const rl_net *from, const rl_net *to)
{
    const rl_plan *plan = tree->plan;
    rl_mark mark = rl_arena_mark(tree->arena);
    making work = {.arena = tree->arena, .net = to, .plan = plan, .tree = tree, .taken = {0, 1}};
    work.term = rl_arena_raw(tree->arena, (size_t)largest_size(plan) * sizeof *work.term);
    assert(from->factors == to->factors && from->variables == to->variables);
    for (int k = 0; k < tree->buckets; k++) {
        bool unary = false;
        for (int f = plan->first_factor[k]; f >= 0; f = plan->next_factor[f]) {
            if (!differ(from, to, f))
                continue;
            tree->bucket[k].changed = true;
            unary = unary || to->factor[f].count == 1;
            if (to->factor[f].count > 1)
                fill_factor(&work, part_of_factor(plan, k, f));
        }
        if (unary) {
            make_terms(&work, k);
            tree->bucket[k].bare = false;
        }
    }
    rl_arena_rewind(tree->arena, mark);
}

/* What the message of a bucket that was made anew is, over what it was. */
static double gain_of(const rl_tree *tree, int k)
{
    int part = rl_message_part(tree->plan, k);
    const rl_bucket *bucket = &tree->bucket[k];
    return rl_dot(tree->value[part], tree->bar[part], tree->plan->part[part].cells) * bucket->scale * bucket->lift;
}

bool rl_tree_lift(rl_tree *tree, double *gain)
{
    int waiting = 0;
    *gain = 1;
    for (int k = 0; k < tree->buckets; k++)
        waiting += tree->bucket[k].changed;
    for (int k = 0; k < tree->buckets && waiting > 0; k++) {
        rl_bucket *bucket = &tree->bucket[k], *parent = tree->plan->parent[k] < 0 ? NULL : &tree->bucket[tree->plan->parent[k]];
        bool known = parent && parent->changed;
        double scale = bucket->scale;
        if (!bucket->changed)
            continue;
        if (tree->logs || !send_up(tree, k))
            return false;
        waiting--;
        if (parent && waiting > 0) {   /* it goes on from there */
            waiting += !known;
            *gain *= bucket->scale / scale;
            continue;
        }
        if (parent)
            parent->changed = false;
        *gain *= gain_of(tree, k);
    }
    return true;
}

/* ---- a bucket's own table ---- */

void rl_bucket_product(const rl_tree *tree, int k, double *out)
{
    static const double ONE = 1;
    const rl_plan *plan = tree->plan;
    if (tree->logs) {
        rl_law_from_logs(tree, k, out);
        return;
    }
    rl_axis axes[RL_MOST_AXES];
    const rl_join *last = &plan->join[plan->first_join[k + 1] - 1];
    int rank = rl_bucket_axes(plan, k, &plan->part[last->left], last->right < 0 ? NULL : &plan->part[last->right], axes);
    rl_multiply(out, tree->value[last->left], last->right < 0 ? &ONE : tree->value[last->right], axes, rank);
}

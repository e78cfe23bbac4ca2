/* eliminate.c: messages on the tree of buckets.
 *
 * Upwards, each bucket multiplies its factors, the weights on its variable and
 * its children's messages into a product, and sums its variable out: its
 * message, scaled so that the greatest cell is 1.  Downwards, a bucket's belief
 * is its product times the belief of the separator over the message.  Products
 * and messages stay until a weight below them changes.
 * Cells never exceed 1 on the way up, so each multiplication loses at most the
 * least double to underflow; `loss` adds that up.  Should it reach what matters
 * (or a message vanish), the pass is done again in logarithms, which also tells
 * a true 0 from a lost one.
 * Invariant: after a collect, every bucket's product over its message is the
 * law of its variable given its separator.
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
/* Products of factors stay this far from underflow; else they are kept apart. */
static const double WIDEST_RANGE = 1e-250;

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

static void fill(double *cells, double value, size_t count)
{
    for (size_t i = 0; i < count; i++)
        cells[i] = value;
}

static size_t table_cells(const rl_net *net, const rl_table *table)
{
    size_t cells = 1;
    for (int i = 0; i < table->count; i++)
        cells *= (size_t)net->size[table->variable[i]];
    return cells;
}

/* Makes the greatest cell 1 unless it is near; whether there is one above 0. */
static bool level(double *cells, size_t count, log_sum *taken)
{
    double greatest = 0;
    for (size_t i = 0; i < count; i++)
        greatest = cells[i] > greatest ? cells[i] : greatest;
    assert(greatest < INFINITY);
    if (greatest > 1 || (greatest < 0.25 && greatest > 0)) {
        log_add(taken, greatest);
        for (size_t i = 0; i < count; i++)
            cells[i] /= greatest;
    }
    return greatest > 0;
}

/* The least cell above 0; 1 if there is none below. */
static double least_cell(const double *cells, size_t count)
{
    double least = 1;
    for (size_t i = 0; i < count; i++)
        if (cells[i] < least && cells[i] > 0)
            least = cells[i];
    return least;
}

typedef struct making {
    rl_arena *arena;
    const rl_net *net;
    const rl_plan *plan;
    rl_tree *tree;
    double *factor;      /* a factor in our order; room for one of a small bucket */
    log_sum taken;
} making;

static rl_shape factor_shape(making *work, int k, const rl_table *table)
{
    int *places = rl_arena_raw(work->arena, (size_t)table->count * sizeof *places);
    for (int i = 0; i < table->count; i++) {
        int place = work->plan->place[table->variable[i]], at = i;
        for (; at > 0 && places[at - 1] > place; at--)
            places[at] = places[at - 1];
        places[at] = place;
    }
    return rl_shape_make(work->arena, work->plan->size, rl_scope_count(work->plan, k),
                         rl_scope(work->plan, k), table->count, places);
}

static void keep_apart(making *work, rl_bucket *bucket, const double *cells, size_t count, rl_shape shape)
{
    double *copy = take_cells(work->arena, count);
    memcpy(copy, cells, count * sizeof *copy);
    bucket->operand[bucket->operands++] = (rl_operand){.cells = copy, .shape = shape};
}

/* Multiplies the factors of a small bucket into its base, as far as their
 * ranges allow. */
static void make_base(making *work, rl_bucket *bucket, int k, double *base)
{
    const rl_plan *plan = work->plan;
    double range = 1;
    for (int f = plan->first_factor[k]; f >= 0; f = plan->next_factor[f]) {
        const rl_table *table = &work->net->factor[f];
        bool first = bucket->base == NULL, alone = first && plan->next_factor[f] < 0;
        bool whole = first && table->count == rl_scope_count(plan, k);
        double *cells = whole ? base : work->factor;
        size_t count = table_cells(work->net, table);
        rl_gather(cells, table, plan->size, plan->place);
        work->tree->zero = !level(cells, count, &work->taken) || work->tree->zero;
        double least = alone ? 1 : least_cell(cells, count);
        bucket->base = base;
        if (first && !whole)
            fill(base, 1, bucket->size * bucket->rest);
        if (!first && range * least < WIDEST_RANGE) {
            keep_apart(work, bucket, cells, count, factor_shape(work, k, table));
            continue;
        }
        range *= least;
        if (!whole)
            rl_fold(base, cells, factor_shape(work, k, table), RL_TIMES);
    }
}

/* A large bucket keeps its factors apart: they are small beside its table. */
static void keep_factors(making *work, rl_bucket *bucket, int k)
{
    for (int f = work->plan->first_factor[k]; f >= 0; f = work->plan->next_factor[f]) {
        const rl_table *table = &work->net->factor[f];
        size_t count = table_cells(work->net, table);
        double *cells = take_cells(work->arena, count);
        rl_gather(cells, table, work->plan->size, work->plan->place);
        work->tree->zero = !level(cells, count, &work->taken) || work->tree->zero;
        bucket->operand[bucket->operands++] =
            (rl_operand){.cells = cells, .shape = factor_shape(work, k, table)};
    }
}

static void make_factors(making *work, rl_bucket *bucket, int k, double *base)
{
    int factors = 0;
    for (int f = work->plan->first_factor[k]; f >= 0; f = work->plan->next_factor[f])
        factors++;
    if (base == NULL || factors > 1)
        bucket->operand = rl_many(work->arena, factors, rl_operand);
    if (base != NULL)
        make_base(work, bucket, k, base);
    else
        keep_factors(work, bucket, k);
}

static void measure(making *work, rl_bucket *bucket, int k)
{
    const rl_plan *plan = work->plan;
    bucket->size = (size_t)plan->size[k];
    bucket->rest = 1;
    for (int i = 1; i < rl_scope_count(plan, k); i++)
        bucket->rest *= (size_t)plan->size[rl_scope(plan, k)[i]];
    bucket->parent = plan->parent[k];
    bucket->first_child = bucket->next_child = -1;
    bucket->changed = true;
}

static void make_bucket(making *work, int k)
{
    rl_bucket *bucket = &work->tree->bucket[k];
    size_t size = bucket->size, rest = bucket->rest, cells = size * rest;
    bool small = cells <= RL_SMALL_BUCKET;
    double *room = take_cells(work->arena, (small ? 3 * cells : cells) + rest + 2 * size);
    bucket->weight = room;
    bucket->marginal = room + size;
    bucket->message = bucket->marginal + size;
    bucket->table = bucket->message + rest;
    bucket->belief = small ? bucket->table + cells : bucket->table;
    bucket->product = bucket->table;
    make_factors(work, bucket, k, small ? bucket->belief + cells : NULL);
}

/* Hangs bucket k on its parent, which has been measured. */
static void hang(making *work, int k)
{
    rl_bucket *bucket = &work->tree->bucket[k];
    if (bucket->parent < 0) {
        work->tree->root[k] = k;
        bucket->source = RL_FROM_NOTHING;
        return;
    }
    rl_bucket *parent = &work->tree->bucket[bucket->parent];
    const int *scope = rl_scope(work->plan, k);
    assert(bucket->parent > k);   /* children are met first upwards, last downwards */
    work->tree->root[k] = work->tree->root[bucket->parent];
    bucket->next_child = parent->first_child;
    parent->first_child = k;
    bucket->up = rl_shape_make(work->arena, work->plan->size, rl_scope_count(work->plan, bucket->parent),
                               rl_scope(work->plan, bucket->parent), rl_scope_count(work->plan, k) - 1, scope + 1);
    if (bucket->rest == parent->size * parent->rest)
        bucket->source = RL_FROM_BELIEF;
    else
        bucket->source = bucket->rest == parent->size ? RL_FROM_MARGINAL : RL_FROM_PROJECTION;
}

/* Factors without variables. */
static void take_scalars(making *work)
{
    for (int f = 0; f < work->net->factors; f++)
        if (work->net->factor[f].count == 0) {
            double cell = work->net->factor[f].cells[0];
            if (cell > 0)
                log_add(&work->taken, cell);
            else
                work->tree->zero = true;
        }
}

rl_tree *rl_tree_make(rl_arena *arena, const rl_net *net, const rl_plan *plan)
{
    int n = plan->variables;
    assert(n == net->variables);
    if (plan->cells > (double)(SIZE_MAX / 64))
        rl_arena_raw(arena, SIZE_MAX);   /* bails */
    rl_tree *tree = rl_new(arena, rl_tree);
    making work = {.arena = arena, .net = net, .plan = plan, .tree = tree, .taken = {0, 1}};
    tree->plan = plan;
    tree->buckets = n;
    tree->bucket = rl_many(arena, n, rl_bucket);
    tree->root = rl_many(arena, n, int);
    work.factor = take_cells(arena, RL_SMALL_BUCKET);
    size_t widest = 1;
    for (int k = 0; k < n; k++) {
        measure(&work, &tree->bucket[k], k);
        widest = tree->bucket[k].rest > widest ? tree->bucket[k].rest : widest;
    }
    tree->scratch = take_cells(arena, widest);
    for (int k = n - 1; k >= 0; k--)
        hang(&work, k);
    for (int k = 0; k < n; k++)
        make_bucket(&work, k);
    take_scalars(&work);
    tree->base_log = log_total(&work.taken);
    return tree;
}

/* ---- weights ---- */

void rl_tree_weigh(rl_tree *tree, int variable, const double *weight)
{
    assert(variable >= 0 && variable < tree->buckets);
    rl_bucket *bucket = &tree->bucket[tree->plan->place[variable]];
    bucket->changed = bucket->changed || bucket->weighted || weight != NULL;
    bucket->weighted = weight != NULL;
    bucket->barred = false;
    if (weight == NULL)
        return;
    double greatest = 0;
    for (size_t i = 0; i < bucket->size; i++)
        greatest = weight[i] > greatest ? weight[i] : greatest;
    bucket->barred = greatest == 0;
    for (size_t i = 0; i < bucket->size; i++)
        bucket->weight[i] = bucket->barred ? 0 : weight[i] / greatest;
    bucket->weight_log = bucket->barred ? 0 : log(greatest);
}

/* ---- upwards ---- */

/* Whether a child speaks of its parent's variable alone. */
static bool speaks_of_one(const rl_bucket *child)
{
    return child->source == RL_FROM_MARGINAL;
}

/* Gathers what concerns the bucket's own variable alone in `own`; returns how
 * many multiplications that took. */
static int own_terms(const rl_tree *tree, const rl_bucket *bucket, double *own)
{
    int folds = 0;
    if (bucket->weighted)
        memcpy(own, bucket->weight, bucket->size * sizeof *own);
    else
        fill(own, 1, bucket->size);
    for (int c = bucket->first_child; c >= 0; c = tree->bucket[c].next_child)
        if (speaks_of_one(&tree->bucket[c])) {
            for (size_t i = 0; i < bucket->size; i++)
                own[i] *= tree->bucket[c].message[i];
            folds++;
        }
    return folds + bucket->weighted;
}

static void spread_own(rl_bucket *bucket, const double *own)
{
    size_t rest = bucket->rest;
    for (size_t i = 0; i < bucket->size; i++) {
        double *restrict row = bucket->table + i * rest;
        if (bucket->base == NULL) {
            fill(row, own[i], rest);
            continue;
        }
        const double *restrict base = bucket->base + i * rest;
        for (size_t j = 0; j < rest; j++)
            row[j] = base[j] * own[i];
    }
}

/* The product of all that has arrived; returns how many multiplications each
 * cell took, for the loss. */
static int make_product(rl_tree *tree, rl_bucket *bucket)
{
    bool bare = bucket->operands == 0 && bucket->first_child < 0 && !bucket->weighted;
    if (bare && bucket->base != NULL) {
        bucket->product = bucket->base;
        return 0;
    }
    bucket->product = bucket->table;
    /* the marginal is of no use until the next distribute */
    int folds = own_terms(tree, bucket, bucket->marginal) + bucket->operands;
    spread_own(bucket, bucket->marginal);
    for (int i = 0; i < bucket->operands; i++)
        rl_fold(bucket->table, bucket->operand[i].cells, bucket->operand[i].shape, RL_TIMES);
    for (int c = bucket->first_child; c >= 0; c = tree->bucket[c].next_child)
        if (!speaks_of_one(&tree->bucket[c])) {
            rl_fold(bucket->table, tree->bucket[c].message, tree->bucket[c].up, RL_TIMES);
            folds++;
        }
    return folds;
}

/* Sums the variable out; returns the greatest cell. */
static double sum_product(const rl_bucket *bucket)
{
    size_t rest = bucket->rest;
    double *restrict message = bucket->message;
    const double *restrict product = bucket->product;
    double greatest = 0;
    if (rest == 1) {
        for (size_t i = 0; i < bucket->size; i++)
            greatest += product[i];
        message[0] = greatest;
        return greatest;
    }
    memcpy(message, product, rest * sizeof *message);
    for (size_t i = 1; i < bucket->size; i++) {
        product += rest;
        for (size_t j = 0; j < rest; j++)
            message[j] += product[j];
    }
    for (size_t j = 0; j < rest; j++)
        greatest = message[j] > greatest ? message[j] : greatest;
    return greatest;
}

/* Whether the bucket's message could be made safely. */
static bool send_up(rl_tree *tree, rl_bucket *bucket)
{
    int folds = make_product(tree, bucket);
    double greatest = sum_product(bucket);
    if (greatest < FAINTEST)
        return false;
    double lost = folds * DBL_TRUE_MIN;
    for (int c = bucket->first_child; c >= 0; c = tree->bucket[c].next_child)
        lost += tree->bucket[c].loss;
    double up = 1 / greatest;
    for (size_t j = 0; j < bucket->rest; j++)
        bucket->message[j] *= up;
    bucket->scale = greatest;
    bucket->loss = lost * (double)bucket->size * up;
    if (bucket->parent >= 0)
        tree->bucket[bucket->parent].changed = true;
    bucket->changed = false;
    return bucket->parent >= 0 || bucket->loss < NO_ACCOUNT;
}

/* ---- upwards, in logarithms ---- */

static void make_log_product(rl_tree *tree, rl_bucket *bucket)
{
    double *table = bucket->table;
    size_t cells = bucket->size * bucket->rest;
    bucket->product = table;
    for (size_t i = 0; i < cells; i++)
        table[i] = bucket->base != NULL ? log(bucket->base[i]) : 0;
    for (int i = 0; i < bucket->operands; i++)
        rl_fold(table, bucket->operand[i].cells, bucket->operand[i].shape, RL_PLUS_LOG);
    for (int c = bucket->first_child; c >= 0; c = tree->bucket[c].next_child)
        rl_fold(table, tree->bucket[c].message, tree->bucket[c].up, RL_PLUS);
    for (size_t i = 0; i < bucket->size && bucket->weighted; i++) {
        double weight = log(bucket->weight[i]);
        for (size_t j = 0; j < bucket->rest; j++)
            table[i * bucket->rest + j] += weight;
    }
}

/* ln of the sum of exp of a column; the column becomes the shares in it. */
static double share_column(double *column, size_t count, size_t step)
{
    double greatest = -INFINITY, sum = 0;
    for (size_t i = 0; i < count; i++)
        greatest = column[i * step] > greatest ? column[i * step] : greatest;
    for (size_t i = 0; i < count; i++) {
        double *cell = &column[i * step];
        *cell = greatest > -INFINITY ? exp(*cell - greatest) : 0;
        sum += *cell;
    }
    if (sum == 0)
        return -INFINITY;
    for (size_t i = 0; i < count; i++)
        column[i * step] /= sum;
    return greatest + log(sum);
}

/* The upward pass without underflow.  It leaves in each product the law of the
 * variable given the separator, so that the messages may be taken as 1. */
static double collect_logs(rl_tree *tree)
{
    double total = 0;
    for (int k = 0; k < tree->buckets; k++) {
        rl_bucket *bucket = &tree->bucket[k];
        make_log_product(tree, bucket);
        for (size_t j = 0; j < bucket->rest; j++)
            bucket->message[j] = share_column(bucket->table + j, bucket->size, bucket->rest);
        if (bucket->parent < 0)
            total += bucket->message[0];
        bucket->changed = true;
    }
    for (int k = 0; k < tree->buckets; k++) {
        rl_bucket *bucket = &tree->bucket[k];
        fill(bucket->message, 1, bucket->rest);
        bucket->scale = 1;
    }
    return total;
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
    for (int k = 0; k < tree->buckets; k++) {
        rl_bucket *bucket = &tree->bucket[k];
        if (bucket->changed && !send_up(tree, bucket))
            return taken + collect_logs(tree);
        log_add(&scales, bucket->scale);
    }
    return taken + log_total(&scales);
}

/* ---- downwards ---- */

/* The belief of a bucket's separator. */
static const double *belief_above(const rl_tree *tree, const rl_bucket *bucket)
{
    static const double CERTAIN = 1;
    if (bucket->source == RL_FROM_NOTHING)
        return &CERTAIN;
    const rl_bucket *parent = &tree->bucket[bucket->parent];
    if (bucket->source == RL_FROM_MARGINAL)
        return parent->marginal;
    if (bucket->source == RL_FROM_BELIEF)
        return parent->belief;
    fill(tree->scratch, 0, bucket->rest);
    rl_project(tree->scratch, parent->belief, bucket->up);
    return tree->scratch;
}

/* belief = product * ratio; returns the sum, made in blocks so that rounding
 * does not pile up over a large table. */
static double scale_row(double *belief, const double *product, const double *ratio, size_t count)
{
    enum { BLOCK = 256 };
    double total = 0;
    for (size_t begin = 0; begin < count; begin += BLOCK) {
        size_t end = count - begin < BLOCK ? count : begin + BLOCK;
        double sum = 0;
        for (size_t j = begin; j < end; j++)
            sum += belief[j] = product[j] * ratio[j];
        total += sum;
    }
    return total;
}

void rl_tree_distribute(rl_tree *tree)
{
    for (int k = tree->buckets - 1; k >= 0; k--) {
        rl_bucket *bucket = &tree->bucket[k];
        assert(bucket->scale > 0);
        const double *above = belief_above(tree, bucket);
        double *ratio = tree->scratch;
        double down = 1 / bucket->scale;
        for (size_t j = 0; j < bucket->rest; j++)
            ratio[j] = bucket->message[j] > 0 ? above[j] / bucket->message[j] * down : 0;
        for (size_t i = 0, at = 0; i < bucket->size; i++, at += bucket->rest)
            bucket->marginal[i] = scale_row(bucket->belief + at, bucket->product + at, ratio, bucket->rest);
        /* a large bucket's product is gone now */
        bucket->changed = bucket->changed || bucket->belief == bucket->table;
    }
}

void rl_tree_marginal(const rl_tree *tree, int variable, double *out)
{
    assert(variable >= 0 && variable < tree->buckets);
    const rl_bucket *bucket = &tree->bucket[tree->plan->place[variable]];
    double sum = 0;
    for (size_t i = 0; i < bucket->size; i++)
        sum += bucket->marginal[i];
    for (size_t i = 0; i < bucket->size; i++)
        out[i] = bucket->marginal[i] / sum;
}

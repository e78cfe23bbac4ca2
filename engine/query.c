/* query.c: distributions of variables that stand in no one bucket, or that are
 * not in the net at all.
 *
 * The smallest set of buckets is sought that covers the net's variables asked
 * about and hangs together in each component: its top gives its belief, every
 * other the law of its variable given its separator.  These tables, and the
 * caller's, are the parts of a small product of its own, whose variables are
 * summed out one after the other, the cheapest first.
 * Invariant: the product of the parts, summed over all variables not kept, is
 * the same before and after each step.  The tree is not changed.
 */
#include "infer_private.h"

#include <assert.h>
#include <stdint.h>
#include <string.h>

/* A separator's state whose message is fainter has no belief to speak of (else
 * the collect would have been made in logarithms), and could not be divided by. */
static const double FAINTEST = 1e-290;

/* ---- which buckets ---- */

typedef struct bucket_cover {
    const rl_tree *tree;
    int *active;          /* places still to be joined; the least goes first */
    bool *fresh;          /* asked about, and not yet reached from below */
    int actives;
    int *bucket;          /* those chosen */
    bool *top;
    int buckets;
} bucket_cover;

static bool in_scope(const rl_plan *plan, int bucket, int place)
{
    const int *scope = rl_scope(plan, bucket);
    int count = rl_scope_count(plan, bucket);
    for (int i = 0; i < count; i++)
        if (scope[i] == place)
            return true;
    return false;
}

static int least_active(const bucket_cover *cover)
{
    int at = 0;
    for (int i = 1; i < cover->actives; i++)
        if (cover->active[i] < cover->active[at])
            at = i;
    return at;
}

/* Whether bucket k holds all that is still active in its component. */
static bool holds_rest(const bucket_cover *cover, int k)
{
    const int *root = cover->tree->root;
    for (int i = 0; i < cover->actives; i++) {
        int other = cover->active[i];
        if (other != k && root[other] == root[k] &&
            (!cover->fresh[i] || !in_scope(cover->tree->plan, k, other)))
            return false;
    }
    return true;
}

static void finish_component(bucket_cover *cover, int root)
{
    int left = 0;
    for (int i = 0; i < cover->actives; i++)
        if (cover->tree->root[cover->active[i]] != root) {
            cover->active[left] = cover->active[i];
            cover->fresh[left++] = cover->fresh[i];
        }
    cover->actives = left;
}

/* The parent takes the place of the active bucket `at`, or joins one there. */
static void climb(bucket_cover *cover, int at)
{
    int parent = cover->tree->plan->parent[cover->active[at]];
    assert(parent >= 0);
    for (int i = 0; i < cover->actives; i++)
        if (cover->active[i] == parent) {
            cover->fresh[i] = false;
            cover->active[at] = cover->active[--cover->actives];
            cover->fresh[at] = cover->fresh[cover->actives];
            return;
        }
    cover->active[at] = parent;
    cover->fresh[at] = false;
}

static void find_cover(bucket_cover *cover)
{
    while (cover->actives > 0) {
        int at = least_active(cover), k = cover->active[at];
        bool top = holds_rest(cover, k);
        cover->bucket[cover->buckets] = k;
        cover->top[cover->buckets++] = top;
        if (top)
            finish_component(cover, cover->tree->root[k]);
        else
            climb(cover, at);
    }
}

/* ---- a product of parts ---- */

typedef struct query_part {
    int count;
    int *variable;          /* local numbers; the last changes fastest; none of one value */
    uint64_t *mask;         /* the same as a set */
    size_t cells;
    const double *cell;     /* NULL: */
    rl_list list;           /* most cells are 0, and these are not */
} query_part;

typedef struct part_product {
    rl_arena *arena;
    int variables, variable_room, words;
    size_t *size;
    int *shift;             /* where the variable's bits begin in a cell's code; NO_BITS: it has none yet */
    uint64_t taken;         /* bits that are some variable's */
    bool *kept;
    int *uses;              /* parts that hold the variable */
    double *cost;           /* of summing it out; negative: not known */
    query_part *part;
    int parts;
    double most;            /* cells of the widest table allowed; 0: any */
} part_product;

static size_t step_in(const part_product *product, const query_part *part, int variable)
{
    size_t step = 1;
    if (!(part->mask[variable / 64] >> (variable % 64) & 1))
        return 0;
    for (int i = part->count - 1; part->variable[i] != variable; i--)
        step *= product->size[part->variable[i]];
    return step;
}

/* Rising along the variables of a table that is laid as it is best for the innermost loops: those of few values first. */
static int lay_of(const part_product *product, int variable)
{
    enum { FEW = 4 };
    return product->size[variable] < FEW ? variable : variable + product->variable_room;
}

/* Adds a variable to a list in the order of its lay, if it is not there. */
static void list_by_lay(const part_product *product, int *list, int *count, int variable)
{
    int at = *count, lay = lay_of(product, variable);
    while (at > 0 && lay_of(product, list[at - 1]) > lay)
        at--;
    if (at > 0 && list[at - 1] == variable)
        return;
    assert(*count < RL_MOST_AXES);
    memmove(list + at + 1, list + at, (size_t)(*count - at) * sizeof *list);
    list[at] = variable;
    (*count)++;
}

/* A result = left * right, summed over the variables that it does not have. */
static void multiply_sum(const part_product *product, double *out, const query_part *result, const query_part *left,
                         const query_part *right, int count, const int *variable)
{
    rl_axis axes[RL_MOST_AXES];
    int rank = 0;
    for (int i = count; i-- > 0;)
        rank = rl_add_axis(axes, rank, (rl_axis){product->size[variable[i]], step_in(product, result, variable[i]),
                               step_in(product, left, variable[i]), step_in(product, right, variable[i])});
    rl_multiply(out, left->cell, right->cell, axes, rank);
}

enum { NO_BITS = -1 };

/* Gives a variable bits of its own, if there are still some. */
static bool take_bits(part_product *product, int variable)
{
    rl_digit digit = {.count = product->size[variable]};
    if (product->shift[variable] != NO_BITS)
        return true;
    int bits = rl_digit_bits(digit.count);
    while (digit.shift + bits <= 64 && (product->taken & rl_digit_mask(&digit)) != 0)
        digit.shift++;
    if (digit.shift + bits > 64)
        return false;
    product->taken |= rl_digit_mask(&digit);
    product->shift[variable] = digit.shift;
    return true;
}

/* The variable is summed out: others may have its bits. */
static void give_bits(part_product *product, int variable)
{
    rl_digit digit = {product->size[variable], product->shift[variable]};
    if (digit.shift == NO_BITS)
        return;
    product->taken &= ~rl_digit_mask(&digit);
    product->shift[variable] = NO_BITS;
}

static bool take_all_bits(part_product *product, const query_part *part)
{
    for (int i = 0; i < part->count; i++)
        if (!take_bits(product, part->variable[i]))
            return false;
    return true;
}

/* The variables of a part as digits of a cell's code. */
static const rl_digit *digits_of(const part_product *product, const query_part *part, rl_digit digit[RL_MOST_AXES])
{
    assert(part->count <= RL_MOST_AXES);
    for (int i = 0; i < part->count; i++)
        digit[i] = (rl_digit){product->size[part->variable[i]], product->shift[part->variable[i]]};
    return digit;
}

/* All cells of a part, where only those that are not 0 were at hand. */
static void spread(const part_product *product, query_part *part)
{
    rl_digit digit[RL_MOST_AXES];
    if (part->cell)
        return;
    double *cell = rl_arena_raw(product->arena, part->cells * sizeof *cell);
    rl_spread_cells(&part->list, part->count, digits_of(product, part, digit), cell);
    part->cell = cell;
}

static void list_filled(const part_product *product, query_part *part)
{
    rl_digit digit[RL_MOST_AXES];
    if (part->cell)
        part->list = rl_list_cells(product->arena, part->cell, part->count, digits_of(product, part, digit));
}

static void set_mask(part_product *product, query_part *part)
{
    part->mask = rl_many(product->arena, product->words, uint64_t);
    part->cells = 1;
    for (int i = 0; i < part->count; i++) {
        part->mask[part->variable[i] / 64] |= (uint64_t)1 << (part->variable[i] % 64);
        part->cells *= product->size[part->variable[i]];
    }
}

static void add_part(part_product *product, query_part part)
{
    for (int i = 0; i < part.count; i++) {
        product->uses[part.variable[i]]++;
        product->cost[part.variable[i]] = -1;
    }
    product->part[product->parts++] = part;
}

/* Takes part `at` out of the list. */
static query_part remove_part(part_product *product, int at)
{
    query_part taken = product->part[at];
    product->part[at] = product->part[--product->parts];
    for (int i = 0; i < taken.count; i++)
        product->uses[taken.variable[i]]--;
    return taken;
}

static bool holds(const query_part *part, int variable)
{
    return (part->mask[variable / 64] >> (variable % 64) & 1) != 0;
}

/* The bits of some variables. */
static uint64_t code_mask(const part_product *product, int count, const int *variable)
{
    uint64_t mask = 0;
    for (int i = 0; i < count; i++) {
        rl_digit digit = {product->size[variable[i]], product->shift[variable[i]]};
        mask |= rl_digit_mask(&digit);
    }
    return mask;
}

/* Whether a join of lists is expected to be less work than one of whole tables; in products of the latter. */
static bool lists_pay(const query_part *left, const query_part *right, double all, double keys)
{
    static const double LEAST = 4096, PRODUCT = 1, PAIR = 20, CELL = 3, ENTRY = 40;
    if (all < LEAST && left->cell && right->cell)
        return false;
    double whole = PRODUCT * all, listed = 0, filled[2];
    for (int i = 0; i < 2; i++) {
        const query_part *part = i == 0 ? left : right;
        filled[i] = (double)(part->cell ? rl_filled_about(part->cell, part->cells) : part->list.count);
        *(part->cell ? &listed : &whole) += CELL * (double)part->cells;
        listed += ENTRY * filled[i];
    }
    double fewest = filled[0] < filled[1] ? filled[0] : filled[1];
    if (keys > fewest)
        keys = fewest > 1 ? fewest : 1;   /* few keys occur: those of one table are those of the other */
    return listed + PAIR * filled[0] * filled[1] / keys < whole;
}

/* Joins by the cells that are not 0, if that is less work. */
static bool join_lists(part_product *product, query_part *left, query_part *right, int summed, const int *sum,
                       query_part *result)
{
    double all = (double)result->cells, keys = 1;
    for (int i = 0; i < summed; i++)
        all *= (double)product->size[sum[i]];
    for (int i = 0; i < right->count; i++)
        if (holds(left, right->variable[i]))
            keys *= (double)product->size[right->variable[i]];
    if (!lists_pay(left, right, all, keys) || !take_all_bits(product, left) || !take_all_bits(product, right))
        return false;
    list_filled(product, left);
    list_filled(product, right);
    uint64_t shared = code_mask(product, left->count, left->variable) & code_mask(product, right->count, right->variable);
    result->list = rl_join_lists(product->arena, &left->list, &right->list, shared, code_mask(product, summed, sum));
    enum { FEW = 1024, PART = 4 };
    if (result->cells < FEW || result->list.count > result->cells / PART)
        spread(product, result);
    return true;
}

/* Lays a part as results are, if there is enough to do with it. */
static void lay(const part_product *product, query_part *part, double all)
{
    enum { WORTH = 4 };
    static const double ONE = 1;
    const query_part one = {.mask = rl_many(product->arena, product->words, uint64_t)};
    query_part laid = *part, unit = one;
    unit.cell = &ONE;
    bool straight = true;
    for (int i = 1; i < part->count; i++)
        straight = straight && lay_of(product, part->variable[i - 1]) < lay_of(product, part->variable[i]);
    if (straight || WORTH * (double)part->cells > all)
        return;
    laid.variable = rl_arena_raw(product->arena, (size_t)part->count * sizeof(int));
    laid.count = 0;
    for (int i = 0; i < part->count; i++)
        list_by_lay(product, laid.variable, &laid.count, part->variable[i]);
    double *cell = rl_arena_raw(product->arena, part->cells * sizeof *cell);
    multiply_sum(product, cell, &laid, part, &unit, laid.count, laid.variable);
    laid.cell = cell;
    *part = laid;
}

/* left * right; if `last`, summed over what nobody else needs. */
static query_part join(part_product *product, query_part *left, query_part *right, bool last)
{
    int variable[RL_MOST_AXES], sum[RL_MOST_AXES], count = 0, summed = 0;
    double all = 1;
    for (int i = 0; i < left->count; i++)
        list_by_lay(product, variable, &count, left->variable[i]);
    for (int i = 0; i < right->count; i++)
        list_by_lay(product, variable, &count, right->variable[i]);
    query_part result = {.variable = rl_arena_raw(product->arena, (size_t)count * sizeof(int))};
    for (int i = 0; i < count; i++) {
        int v = variable[i];
        all *= (double)product->size[v];
        if (last && product->uses[v] == 0 && !product->kept[v])
            sum[summed++] = v;
        else
            result.variable[result.count++] = v;
    }
    set_mask(product, &result);
    if (!join_lists(product, left, right, summed, sum, &result)) {
        spread(product, left);
        spread(product, right);
        lay(product, left, all);
        lay(product, right, all);
        double *cell = rl_arena_raw(product->arena, result.cells * sizeof *cell);
        multiply_sum(product, cell, &result, left, right, count, variable);
        result.cell = cell;
    }
    for (int i = 0; i < summed; i++)
        give_bits(product, sum[i]);
    return result;
}

static query_part unit_part(part_product *product)
{
    static const double ONE = 1;
    uint64_t *none = rl_many(product->arena, product->words, uint64_t);
    return (query_part){.count = 0, .mask = none, .cells = 1, .cell = &ONE};
}

static double union_cells(const part_product *product, const query_part *a, const query_part *b)
{
    double cells = (double)a->cells;
    for (int i = 0; i < b->count; i++)
        if (!holds(a, b->variable[i]))
            cells *= (double)product->size[b->variable[i]];
    return cells;
}

/* The part that holds the variable and makes the least product with `running`; -1: none is left. */
static int next_part(const part_product *product, const query_part *running, int variable)
{
    int best = -1;
    double least = 0;
    for (int i = 0; i < product->parts; i++) {
        if (!holds(&product->part[i], variable))
            continue;
        double cells = union_cells(product, running, &product->part[i]);
        if (best < 0 || cells < least || (cells <= least && product->part[i].cells > product->part[best].cells)) {
            best = i;
            least = cells;
        }
    }
    return best;
}

/* Multiplies the parts that hold `variable` and sums it out. */
static void sum_out(part_product *product, int variable)
{
    query_part running = unit_part(product);
    for (int at = next_part(product, &running, variable); at >= 0; at = next_part(product, &running, variable)) {
        query_part next = remove_part(product, at);
        running = running.count == 0 && product->uses[variable] > 0
                      ? next
                      : join(product, &running, &next, product->uses[variable] == 0);
    }
    add_part(product, running);
}

/* ---- the order ---- */

/* All variables that share a part with one. */
static uint64_t near_word(const part_product *product, int variable, int w)
{
    uint64_t word = 0;
    for (int i = 0; i < product->parts; i++)
        if (holds(&product->part[i], variable))
            word |= product->part[i].mask[w];
    return word;
}

/* Cells of the product of all parts that hold the variable. */
static double cells_with(const part_product *product, int variable)
{
    double cells = 1;
    for (int w = 0; w < product->words; w++)
        for (uint64_t word = near_word(product, variable, w); word != 0; word &= word - 1)
            cells *= (double)product->size[64 * w + __builtin_ctzll(word)];
    return cells;
}

/* Of summing the variable out: the cells that are left. */
static double cost_of(const part_product *product, int variable)
{
    return cells_with(product, variable) / (double)product->size[variable];
}

static int cheapest(part_product *product)
{
    int best = -1;
    for (int v = 0; v < product->variables; v++) {
        if (product->uses[v] == 0 || product->kept[v])
            continue;
        if (product->uses[v] == 1)
            return v;
        if (product->cost[v] < 0)
            product->cost[v] = cost_of(product, v);
        if (best < 0 || product->cost[v] < product->cost[best])
            best = v;
    }
    return best;
}

/* Sums out all but the kept variables, given in the order of `out`, which then sums to 1.
 * False, and nothing answered, where a table would be wider than allowed. */
static bool reduce(part_product *product, int count, const int *keep, double *out)
{
    for (int v = cheapest(product); v >= 0; v = cheapest(product)) {
        if (product->most > 0 && cells_with(product, v) > product->most)
            return false;
        sum_out(product, v);
    }
    query_part whole = unit_part(product), one = whole;
    for (int i = 0; i < product->parts; i++)
        whole = i == 0 ? product->part[i] : join(product, &whole, &product->part[i], false);
    spread(product, &whole);
    size_t cells = 1;
    query_part result = {.variable = rl_arena_raw(product->arena, (size_t)count * sizeof(int))};
    for (int i = 0; i < count; i++) {
        cells *= product->size[keep[i]];
        if (product->size[keep[i]] > 1)
            result.variable[result.count++] = keep[i];
    }
    set_mask(product, &result);
    multiply_sum(product, out, &result, &whole, &one, result.count, result.variable);
    double sum = 0;
    for (size_t i = 0; i < cells; i++)
        sum += out[i];
    assert(sum > 0);
    rl_scale(out, cells, 1 / sum);
    return true;
}

/* ---- putting the parts together ---- */

typedef struct asking {
    const rl_tree *tree;
    rl_arena *arena;
    const rl_extension *extension;   /* NULL for a joint */
    int *local;                      /* by variable of the net, then of the extension; -1: not met */
    bucket_cover cover;
    part_product product;
} asking;

static void start(asking *ask)
{
    size_t n = (size_t)ask->tree->buckets;
    size_t all = n + (size_t)(ask->extension != NULL ? ask->extension->variables : 0);
    ask->local = rl_arena_raw(ask->arena, all * sizeof(int));
    memset(ask->local, 0xff, all * sizeof(int));
    ask->cover.tree = ask->tree;
    ask->cover.active = rl_arena_raw(ask->arena, n * sizeof(int));
    ask->cover.fresh = rl_arena_raw(ask->arena, n * sizeof(bool));
    ask->cover.bucket = rl_arena_raw(ask->arena, n * sizeof(int));
    ask->cover.top = rl_arena_raw(ask->arena, n * sizeof(bool));
}

/* Names a variable of the net as asked about. */
static void ask_about(asking *ask, int variable)
{
    if (ask->local[variable] >= 0)
        return;
    ask->local[variable] = 0;   /* numbered later */
    ask->cover.active[ask->cover.actives] = ask->tree->plan->place[variable];
    ask->cover.fresh[ask->cover.actives++] = true;
}

static int local_number(asking *ask, int variable, int size)
{
    part_product *product = &ask->product;
    if (ask->local[variable] < 0) {
        assert(product->variables < product->variable_room);
        product->size[product->variables] = (size_t)size;
        product->shift[product->variables] = NO_BITS;
        ask->local[variable] = product->variables++;
    }
    return ask->local[variable];
}

/* Room for all that the cover and the extension can bring. */
static void make_room(asking *ask)
{
    const rl_plan *plan = ask->tree->plan;
    part_product *product = &ask->product;
    int extra = ask->extension != NULL ? ask->extension->variables : 0;
    int tables = ask->extension != NULL ? ask->extension->tables : 0;
    size_t room = (size_t)extra;
    for (int i = 0; i < ask->cover.buckets; i++) {
        const int *scope = rl_scope(plan, ask->cover.bucket[i]);
        room += (size_t)rl_scope_count(plan, ask->cover.bucket[i]);
        for (int j = 0; j < rl_scope_count(plan, ask->cover.bucket[i]); j++)
            ask->local[plan->order[scope[j]]] = -1;
    }
    if (room > (size_t)(plan->variables + extra))
        room = (size_t)(plan->variables + extra);
    product->arena = ask->arena;
    product->variable_room = (int)room;
    product->words = (int)(room / 64 + 1);
    product->size = rl_arena_raw(ask->arena, room * sizeof(size_t));
    product->shift = rl_arena_raw(ask->arena, room * sizeof(int));
    product->kept = rl_many(ask->arena, room, bool);
    product->uses = rl_many(ask->arena, room, int);
    product->cost = rl_many(ask->arena, room, double);
    /* each step takes parts away before it adds one */
    product->part = rl_arena_raw(ask->arena, (size_t)(ask->cover.buckets + tables + 1) * sizeof(query_part));
}

/* The law of a bucket's variable given its separator, product over message; or,
 * of the top, the belief, product by bar. */
static double *bucket_table(const asking *ask, int k, bool top)
{
    const rl_tree *tree = ask->tree;
    int part = rl_message_part(tree->plan, k);
    size_t rest = tree->plan->part[part].cells, size = (size_t)tree->plan->size[k];
    double *table = rl_arena_raw(ask->arena, size * rest * sizeof *table);
    double *ratio = rl_arena_raw(ask->arena, rest * sizeof *ratio);
    rl_bucket_product(tree, k, table);
    for (size_t j = 0; j < rest; j++) {
        double sum = rl_bucket_sum(tree, k, j);
        ratio[j] = sum <= FAINTEST ? 0 : top ? tree->bar[part][j] : 1 / sum;
    }
    for (size_t i = 0; i < size; i++)
        rl_times(table + i * rest, ratio, rest);
    return table;
}

static void add_bucket(asking *ask, int k, bool top)
{
    const rl_plan *plan = ask->tree->plan;
    const rl_part *message = &plan->part[rl_message_part(plan, k)];
    query_part part = {.variable = rl_arena_raw(ask->arena, (size_t)(message->count + 1) * sizeof(int))};
    for (int i = -1; i < message->count; i++) {
        int place = i < 0 ? k : message->place[i], number = local_number(ask, plan->order[place], plan->size[place]);
        if (plan->size[place] > 1)
            part.variable[part.count++] = number;
    }
    part.cell = bucket_table(ask, k, top);
    set_mask(&ask->product, &part);
    add_part(&ask->product, part);
}

static void add_table(asking *ask, const rl_table *table)
{
    int n = ask->tree->buckets;
    query_part part = {.variable = rl_arena_raw(ask->arena, (size_t)table->count * sizeof(int)), .cell = table->cells};
    for (int i = 0; i < table->count; i++) {
        int v = table->variable[i];
        int size = v < n ? ask->tree->plan->size[ask->tree->plan->place[v]] : ask->extension->size[v - n];
        int number = local_number(ask, v, size);
        if (size > 1)
            part.variable[part.count++] = number;
    }
    set_mask(&ask->product, &part);
    add_part(&ask->product, part);
}

static void add_parts(asking *ask)
{
    find_cover(&ask->cover);
    make_room(ask);
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
    int kept = local_number(&ask, target, extension->size[target - n]);
    ask.product.kept[kept] = true;
    ask.product.most = extension->most_cells;
    bool answered = reduce(&ask.product, 1, &kept, out);
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
    int *keep = rl_arena_raw(arena, (size_t)count * sizeof(int));
    for (int i = 0; i < count; i++) {
        keep[i] = ask.local[variable[i]];
        ask.product.kept[keep[i]] = true;
    }
    ask.product.most = most_cells;
    bool answered = reduce(&ask.product, count, keep, out);
    rl_arena_rewind(arena, mark);
    return answered;
}

void rl_tree_joint(const rl_tree *tree, rl_arena *arena, int count, const int *variable, double *out)
{
    bool answered = rl_tree_joint_within(tree, arena, 0, count, variable, out);
    assert(answered);
    (void)answered;
}

/* product.c: a product of tables, summed over most of its variables.
 *
 * Its variables are summed out one after the other, the cheapest first: the parts that have
 * one are multiplied, whole or by the cells that are not 0.
 * Invariant: the product of the parts, summed over all variables not kept, is
 * the same before and after each step.
 */
#include "product.h"

#include <assert.h>
#include <stdint.h>
#include <string.h>

static size_t step_in(const rl_product *product, const rl_query_part *part, int variable)
{
    size_t step = 1;
    if (!(part->mask[variable / 64] >> (variable % 64) & 1))
        return 0;
    for (int i = part->count - 1; part->variable[i] != variable; i--)
        step *= product->size[part->variable[i]];
    return step;
}

/* Rising along the variables of a table that is laid as it is best for the innermost loops: those of few values first. */
static int lay_of(const rl_product *product, int variable)
{
    enum { FEW = 4 };
    return product->size[variable] < FEW ? variable : variable + product->variable_room;
}

/* Adds a variable to a list in the order of its lay, if it is not there. */
static void list_by_lay(const rl_product *product, int *list, int *count, int variable)
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
static void multiply_sum(const rl_product *product, double *out, const rl_query_part *result, const rl_query_part *left,
                         const rl_query_part *right, int count, const int *variable)
{
    rl_axis axes[RL_MOST_AXES];
    int rank = 0;
    for (int i = count; i-- > 0;)
        rank = rl_add_axis(axes, rank, (rl_axis){product->size[variable[i]], step_in(product, result, variable[i]),
                               step_in(product, left, variable[i]), step_in(product, right, variable[i])});
    rl_multiply(out, left->cell, right->cell, axes, rank);
}

/* Gives a variable bits of its own, if there are still some. */
static bool take_bits(rl_product *product, int variable)
{
    rl_digit digit = {.count = product->size[variable]};
    if (product->shift[variable] != RL_NO_BITS)
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
static void give_bits(rl_product *product, int variable)
{
    rl_digit digit = {product->size[variable], product->shift[variable]};
    if (digit.shift == RL_NO_BITS)
        return;
    product->taken &= ~rl_digit_mask(&digit);
    product->shift[variable] = RL_NO_BITS;
}

static bool take_all_bits(rl_product *product, const rl_query_part *part)
{
    for (int i = 0; i < part->count; i++)
        if (!take_bits(product, part->variable[i]))
            return false;
    return true;
}

/* The variables of a part as digits of a cell's code. */
static const rl_digit *digits_of(const rl_product *product, const rl_query_part *part, rl_digit digit[RL_MOST_AXES])
{
    assert(part->count <= RL_MOST_AXES);
    for (int i = 0; i < part->count; i++)
        digit[i] = (rl_digit){product->size[part->variable[i]], product->shift[part->variable[i]]};
    return digit;
}

/* All cells of a part, where only those that are not 0 were at hand. */
static void spread(const rl_product *product, rl_query_part *part)
{
    rl_digit digit[RL_MOST_AXES];
    if (part->cell)
        return;
    double *cell = rl_arena_raw(product->arena, part->cells * sizeof *cell);
    rl_spread_cells(&part->list, part->count, digits_of(product, part, digit), cell);
    part->cell = cell;
}

static void list_filled(const rl_product *product, rl_query_part *part)
{
    rl_digit digit[RL_MOST_AXES];
    if (part->cell)
        part->list = rl_list_cells(product->arena, part->cell, part->count, digits_of(product, part, digit));
}

static void set_mask(rl_product *product, rl_query_part *part)
{
    part->mask = rl_many(product->arena, product->words, uint64_t);
    part->cells = 1;
    for (int i = 0; i < part->count; i++) {
        part->mask[part->variable[i] / 64] |= (uint64_t)1 << (part->variable[i] % 64);
        part->cells *= product->size[part->variable[i]];
    }
}

static void add_part(rl_product *product, rl_query_part part)
{
    for (int i = 0; i < part.count; i++) {
        product->uses[part.variable[i]]++;
        product->cost[part.variable[i]] = -1;
    }
    product->part[product->parts++] = part;
}

/* Takes part `at` out of the list. */
static rl_query_part remove_part(rl_product *product, int at)
{
    rl_query_part taken = product->part[at];
    product->part[at] = product->part[--product->parts];
    for (int i = 0; i < taken.count; i++)
        product->uses[taken.variable[i]]--;
    return taken;
}

static bool holds(const rl_query_part *part, int variable)
{
    return (part->mask[variable / 64] >> (variable % 64) & 1) != 0;
}

/* The bits of some variables. */
static uint64_t code_mask(const rl_product *product, int count, const int *variable)
{
    uint64_t mask = 0;
    for (int i = 0; i < count; i++) {
        rl_digit digit = {product->size[variable[i]], product->shift[variable[i]]};
        mask |= rl_digit_mask(&digit);
    }
    return mask;
}

/* Whether a join of lists is expected to be less work than one of whole tables; in products of the latter. */
static bool lists_pay(const rl_query_part *left, const rl_query_part *right, double all, double keys)
{
    static const double LEAST = 4096, PRODUCT = 1, PAIR = 20, CELL = 3, ENTRY = 40;
    if (all < LEAST && left->cell && right->cell)
        return false;
    double whole = PRODUCT * all, listed = 0, filled[2];
    for (int i = 0; i < 2; i++) {
        const rl_query_part *part = i == 0 ? left : right;
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
static bool join_lists(rl_product *product, rl_query_part *left, rl_query_part *right, int summed, const int *sum,
                       rl_query_part *result)
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
static void lay(const rl_product *product, rl_query_part *part, double all)
{
    enum { WORTH = 4 };
    static const double ONE = 1;
    const rl_query_part one = {.mask = rl_many(product->arena, product->words, uint64_t)};
    rl_query_part laid = *part, unit = one;
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
static rl_query_part join(rl_product *product, rl_query_part *left, rl_query_part *right, bool last)
{
    int variable[RL_MOST_AXES], sum[RL_MOST_AXES], count = 0, summed = 0;
    double all = 1;
    for (int i = 0; i < left->count; i++)
        list_by_lay(product, variable, &count, left->variable[i]);
    for (int i = 0; i < right->count; i++)
        list_by_lay(product, variable, &count, right->variable[i]);
    rl_query_part result = {.variable = rl_arena_raw(product->arena, (size_t)count * sizeof(int))};
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

static rl_query_part unit_part(rl_product *product)
{
    static const double ONE = 1;
    uint64_t *none = rl_many(product->arena, product->words, uint64_t);
    return (rl_query_part){.count = 0, .mask = none, .cells = 1, .cell = &ONE};
}

static double union_cells(const rl_product *product, const rl_query_part *a, const rl_query_part *b)
{
    double cells = (double)a->cells;
    for (int i = 0; i < b->count; i++)
        if (!holds(a, b->variable[i]))
            cells *= (double)product->size[b->variable[i]];
    return cells;
}

/* The part that holds the variable and makes the least product with `running`; -1: none is left. */
static int next_part(const rl_product *product, const rl_query_part *running, int variable)
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
static void sum_out(rl_product *product, int variable)
{
    rl_query_part running = unit_part(product);
    for (int at = next_part(product, &running, variable); at >= 0; at = next_part(product, &running, variable)) {
        rl_query_part next = remove_part(product, at);
        running = running.count == 0 && product->uses[variable] > 0
                      ? next
                      : join(product, &running, &next, product->uses[variable] == 0);
    }
    add_part(product, running);
}

/* ---- the order ---- */

/* All variables of the parts that hold one, or of those that do not. */
static uint64_t word_of(const rl_product *product, int variable, int w, bool with)
{
    uint64_t word = 0;
    for (int i = 0; i < product->parts; i++)
        if (holds(&product->part[i], variable) == with)
            word |= product->part[i].mask[w];
    return word;
}

/* Cells of the product of all parts that hold the variable. */
static double cells_with(const rl_product *product, int variable)
{
    double cells = 1;
    for (int w = 0; w < product->words; w++)
        for (uint64_t word = word_of(product, variable, w, true); word != 0; word &= word - 1)
            cells *= (double)product->size[64 * w + __builtin_ctzll(word)];
    return cells;
}

/* What is left of the parts that hold a variable once all that they alone hold is summed out. */
static double cells_left(const rl_product *product, int variable)
{
    double cells = 1;
    for (int w = 0; w < product->words; w++) {
        uint64_t others = word_of(product, variable, w, false);
        for (uint64_t word = word_of(product, variable, w, true); word != 0; word &= word - 1) {
            int v = 64 * w + __builtin_ctzll(word);
            if (product->kept[v] || (others & word & -word) != 0)
                cells *= (double)product->size[v];
        }
    }
    return cells;
}

/* Of summing the variable out: the product itself, and what is left, which will be multiplied
 * again and again.  Found by trying: between 8 and 24 it hardly matters. */
static double cost_of(const rl_product *product, int variable)
{
    enum { AGAIN = 16 };
    return cells_with(product, variable) + AGAIN * cells_left(product, variable);
}

static int cheapest(rl_product *product)
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

static double total_of(const double *cell, size_t count)
{
    enum { LANES = 4 };
    double sum[LANES] = {0}, all = 0;
    size_t i = 0;
    for (; i + LANES <= count; i += LANES)
        for (size_t j = 0; j < LANES; j++)
            sum[j] += cell[i + j];
    for (; i < count; i++)
        all += cell[i];
    for (size_t j = 0; j < LANES; j++)
        all += sum[j];
    assert(all > 0);
    return all;
}

bool rl_product_reduce(rl_product *product, int count, const int *keep, double *out)
{
    for (int v = cheapest(product); v >= 0; v = cheapest(product)) {
        if (product->most > 0 && cells_with(product, v) > product->most)
            return false;
        sum_out(product, v);
    }
    rl_query_part whole = unit_part(product), share = whole;
    for (int i = 0; i < product->parts; i++)
        whole = i == 0 ? product->part[i] : join(product, &whole, &product->part[i], false);
    spread(product, &whole);
    rl_query_part result = {.variable = rl_arena_raw(product->arena, (size_t)count * sizeof(int))};
    for (int i = 0; i < count; i++)
        if (product->size[keep[i]] > 1)
            result.variable[result.count++] = keep[i];
    set_mask(product, &result);
    assert(result.cells == whole.cells);
    double by = 1 / total_of(whole.cell, whole.cells);
    share.cell = &by;
    multiply_sum(product, out, &result, &whole, &share, result.count, result.variable);
    return true;
}

void rl_product_make(rl_product *product, rl_arena *arena, int variables, int parts)
{
    *product = (rl_product){.arena = arena, .variable_room = variables, .words = variables / 64 + 1};
    product->size = rl_raw(arena, variables, size_t);
    product->shift = rl_raw(arena, variables, int);
    product->kept = rl_many(arena, variables, bool);
    product->uses = rl_many(arena, variables, int);
    product->cost = rl_many(arena, variables, double);
    product->part = rl_raw(arena, parts + 1, rl_query_part);   /* each step takes parts away before it adds one */
}

int rl_product_variable(rl_product *product, int size)
{
    assert(product->variables < product->variable_room);
    product->size[product->variables] = (size_t)size;
    product->shift[product->variables] = RL_NO_BITS;
    return product->variables++;
}

void rl_product_add(rl_product *product, const int *variable, int count, const double *cell)
{
    rl_query_part part = {.variable = rl_raw(product->arena, count, int), .cell = cell};
    for (int i = 0; i < count; i++)
        if (product->size[variable[i]] > 1)
            part.variable[part.count++] = variable[i];
    set_mask(product, &part);
    add_part(product, part);
}

/* compose.c: see compose.h.
 *
 * Invariant: `outside` of a law lists the elements outside the net that it hangs on.
 */
#include "compose.h"

#include <assert.h>
#include <string.h>

static int variable_of(const rl_network *network, int input)
{
    return input < 0 ? network->helper[-1 - input] : rl_network_variable(network, input);
}

/* The row in the last occasion of a value that the network knows the expression by. */
static int row_of(const rl_bench *bench, int expr, int value)
{
    return rl_expr_row(&bench->exprs, expr, bench->network.mask[expr], bench->frame.last, value);
}

static void hang_on(rl_givens *givens, rl_given *out, int element)
{
    int *list = rl_raw(givens->arena, 1, int);
    list[0] = element;
    out->outsides = 1;
    out->outside = list;
}

/* ---- single elements, and what the net knows ---- */

/* The net has the expression. */
static void law_of_variable(rl_givens *givens, int expr, int variable, rl_given *out)
{
    const rl_bench *bench = givens->bench;
    int size = rl_net_size(bench->network.net, variable);
    double *p = rl_many(givens->arena, size * out->rows, double);
    for (int v = 0; v < size; v++)
        p[v * out->rows + row_of(bench, expr, rl_network_value(&bench->network, variable, v))] = 1;
    out->count = 1;
    out->variable[0] = variable;
    out->size[0] = size;
    out->p = p;
}

/* No finding knows more of the element than its own weights. */
static void law_of_plain(rl_givens *givens, int expr, rl_given *out)
{
    rl_bench *bench = givens->bench;
    const rl_network *network = &bench->network;
    const double *weight = expr < network->expr_count ? network->weight[expr] : NULL;
    double *p = rl_many(givens->arena, out->rows, double);
    if (!weight)
        rl_bench_rows(bench, givens->scratch, bench->exprs.at[expr].a, p);
    for (int v = 0; weight && v < rl_expr_size(&bench->exprs, expr, network->mask[expr]); v++)
        p[row_of(bench, expr, v)] += weight[v];
    out->p = p;
    hang_on(givens, out, bench->exprs.at[expr].a);
}

/* The inputs of the table behind an absorbed element, as variables in their order; false: one is none. */
static bool list_inputs(const rl_network *network, const rl_cells *after, size_t *step, rl_given *out)
{
    for (int i = 0; i < after->count; i++) {
        int variable = variable_of(network, after->input[i]);
        if (variable < 0)
            return false;
        int at = out->count++;
        for (; at > 0 && out->variable[at - 1] > variable; at--) {
            out->variable[at] = out->variable[at - 1];
            out->size[at] = out->size[at - 1];
        }
        out->variable[at] = variable;
        out->size[at] = after->size[i];
    }
    for (int i = 0; i < after->count; i++) {
        step[i] = 1;
        for (int k = out->count; k-- > 0 && out->variable[k] != variable_of(network, after->input[i]);)
            step[i] *= (size_t)out->size[k];
    }
    return true;
}

/* Of a law over all values of its variables, what the net has of them. */
static void leave_out(rl_givens *givens, rl_given *out)
{
    const rl_network *network = &givens->bench->network;
    rl_cells t = {.count = out->count, .cell = (double *)out->p};
    if (!network->left)
        return;
    memcpy(t.size, out->size, (size_t)out->count * sizeof *t.size);
    t.size[t.count++] = out->rows;
    for (int i = 0; i < out->count; i++) {
        rl_cells_select(givens->arena, &t, i, rl_net_size(network->net, out->variable[i]), network->left[out->variable[i]]);
        out->size[i] = t.size[i];
    }
    out->p = t.cell;
}

/* An absorbed element given what it was absorbed into. */
static bool law_of_absorbed(rl_givens *givens, int expr, rl_given *out)
{
    const rl_bench *bench = givens->bench;
    const rl_network *network = &bench->network;
    const rl_absorbed *a = &network->absorbed[network->absorbed_of[expr]];
    const rl_cells *before = &a->before, *after = &a->after;
    const double *cells_before = rl_absorbed_before(givens->arena, a), *weight = network->weight[expr];
    size_t step[RL_INPUTS], cells = rl_cells_count(after), inner = 1, size = (size_t)before->size[a->at];
    if (!list_inputs(network, after, step, out))
        return false;
    for (int i = a->at + 1; i < before->count; i++)
        inner *= (size_t)before->size[i];
    double *p = rl_many(givens->arena, cells * (size_t)out->rows, double);
    for (size_t c = 0; c < cells; c++) {
        size_t to = 0, rest = c;
        for (int i = after->count; i-- > 0; rest /= (size_t)after->size[i])
            to += rest % (size_t)after->size[i] * step[i];
        const double *from = &cells_before[c / inner * size * inner + c % inner];
        for (size_t v = 0; v < size && after->cell[c] > 0; v++)
            p[to * (size_t)out->rows + (size_t)row_of(bench, expr, (int)v)] += weight[v] * from[v * inner] / after->cell[c];
    }
    out->p = p;
    leave_out(givens, out);
    hang_on(givens, out, bench->exprs.at[expr].a);
    return true;
}

/* ---- paths ---- */

/* Rows of one part's law become others: what is calm, or failed. */
static bool law_of_mapped(rl_givens *givens, const rl_given *part, const int *map, rl_given *out)
{
    size_t cells = 1;
    if (!part)
        return false;
    int rows = out->rows;
    *out = *part;
    out->rows = rows;
    for (int i = 0; i < part->count; i++)
        cells *= (size_t)part->size[i];
    double *p = rl_many(givens->arena, cells * (size_t)rows, double);
    for (size_t c = 0; c < cells; c++)
        for (int row = 0; row < part->rows; row++)
            p[c * (size_t)rows + (size_t)map[row]] += part->p[c * (size_t)part->rows + (size_t)row];
    out->p = p;
    return true;
}

/* The union of two ascending lists; -1: they share one. */
static int unite_outside(rl_arena *arena, const rl_given *a, const rl_given *b, const int **out)
{
    int *list = rl_raw(arena, a->outsides + b->outsides, int), i = 0, j = 0, count = 0;
    while (i < a->outsides && j < b->outsides) {
        if (a->outside[i] == b->outside[j])
            return -1;
        list[count++] = a->outside[i] < b->outside[j] ? a->outside[i++] : b->outside[j++];
    }
    while (i < a->outsides)
        list[count++] = a->outside[i++];
    while (j < b->outsides)
        list[count++] = b->outside[j++];
    *out = list;
    return count;
}

/* The variables of both laws, and how far each moves in each of the laws (in cells, 0: not in it). */
static bool unite_variables(const rl_given *a, const rl_given *b, size_t (*step)[2], rl_given *out)
{
    for (int i = 0, j = 0; i < a->count || j < b->count; out->count++) {
        if (out->count == RL_INPUTS)
            return false;
        bool first = j == b->count || (i < a->count && a->variable[i] <= b->variable[j]);
        out->variable[out->count] = first ? a->variable[i] : b->variable[j];
        out->size[out->count] = first ? a->size[i] : b->size[j];
        bool both = first && j < b->count && b->variable[j] == a->variable[i];
        step[out->count][0] = first;
        step[out->count][1] = !first || both;
        i += first;
        j += !first || both;
    }
    size_t next[2] = {(size_t)a->rows, (size_t)b->rows};
    for (int i = out->count; i-- > 0;)
        for (int k = 0; k < 2; k++)
            if (step[i][k]) {
                step[i][k] = next[k];
                next[k] *= (size_t)out->size[i];
            }
    return true;
}

/* The law of the worse of two independent rows; with `better` of the better.  Sums of what
 * cannot be negative only, so that what cannot be stays exactly 0. */
static void of_both(const double *a, const double *b, int rows, bool better, double *out)
{
    double up_to_a = 0, up_to_b = 0;
    for (int i = 0; i < rows; i++) {
        int row = better ? rows - 1 - i : i;
        double before_a = up_to_a;
        up_to_a += a[row];
        up_to_b += b[row];
        out[row] = a[row] * up_to_b + before_a * b[row];
    }
}

enum { MOST_CELLS = 1 << 18 };

static bool law_of_two(rl_givens *givens, const rl_given *a, const rl_given *b, bool better, rl_given *out)
{
    size_t step[RL_INPUTS][2], at[2] = {0, 0}, cells = (size_t)out->rows;
    int digit[RL_INPUTS] = {0};
    if (!a || !b || !unite_variables(a, b, step, out))
        return false;
    assert(a->rows == out->rows && b->rows == out->rows);
    for (int i = 0; i < out->count; i++)
        cells *= (size_t)out->size[i];
    out->outsides = unite_outside(givens->arena, a, b, &out->outside);
    if (cells > MOST_CELLS || out->outsides < 0)
        return false;
    double *p = rl_raw(givens->arena, cells, double);
    out->p = p;
    for (size_t c = 0; c < cells; c += (size_t)out->rows) {
        of_both(&a->p[at[0]], &b->p[at[1]], out->rows, better, &p[c]);
        for (int i = out->count; i-- > 0; digit[i] = 0) {
            bool more = ++digit[i] < out->size[i];
            for (int k = 0; k < 2; k++)
                at[k] += more ? step[i][k] : -(step[i][k] * (size_t)(out->size[i] - 1));
            if (more)
                break;
        }
    }
    return true;
}

bool rl_compose(rl_givens *givens, int expr, rl_given *out)
{
    const rl_bench *bench = givens->bench;
    const rl_network *network = &bench->network;
    rl_expr x = bench->exprs.at[expr];
    int variable = rl_network_variable(network, expr);
    *out = (rl_given){.rows = rl_expr_rows(&bench->exprs, expr)};
    if (variable >= 0 && (network->mask[expr] >> bench->frame.last & 1u)) {
        law_of_variable(givens, expr, variable, out);
        return true;
    }
    switch (x.sort) {
    case RL_X_SOUND: break;
    case RL_X_ELEMENT:
    case RL_X_LOAD:
        if (variable >= 0)
            return false;
        if (expr < network->expr_count && network->absorbed_of[expr] >= 0)
            return law_of_absorbed(givens, expr, out);
        law_of_plain(givens, expr, out);
        return true;
    case RL_X_FAILED: return law_of_mapped(givens, rl_given_composed(givens, x.a), bench->exprs.failed_row, out);
    case RL_X_CALM: return law_of_mapped(givens, rl_given_composed(givens, x.a), bench->exprs.calm_row, out);
    case RL_X_MAX:
    case RL_X_MIN: return law_of_two(givens, rl_given_composed(givens, x.a), rl_given_composed(givens, x.b), x.sort == RL_X_MIN, out);
    }
    return false;
}

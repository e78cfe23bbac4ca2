/* draft.c: the factors of a case, over expressions and helpers.
 *
 * Invariant: what is sound for certain, calm or failed is seen through before
 * a factor is kept; all that was said of one expression alone in one occasion
 * is one factor.
 */
#include "draft.h"

#include <assert.h>
#include <math.h>
#include <string.h>

void rl_draft_make(rl_draft *draft, rl_arena *arena, rl_exprs *exprs)
{
    const rl_model *model = exprs->frame->model;
    *draft = (rl_draft){.arena = arena, .exprs = exprs, .room = 32, .own_room = 128, .helper_room = 32};
    draft->factor = rl_raw(arena, draft->room, rl_cells);
    draft->own = rl_raw(arena, draft->own_room, rl_own);
    draft->helper_size = rl_raw(arena, draft->helper_room, int);
    draft->state = rl_arena_raw(arena, (size_t)model->nodes * sizeof *draft->state);
    draft->inspected = rl_many(arena, model->nodes, bool);
    for (int e = 0; e < model->nodes; e++)
        memcpy(draft->state[e], model->node[e].info.prior, sizeof draft->state[e]);
}

int rl_draft_helper(rl_draft *draft, int size)
{
    if (draft->helpers == draft->helper_room) {
        int *more = rl_raw(draft->arena, draft->helper_room * 2, int);
        memcpy(more, draft->helper_size, (size_t)draft->helpers * sizeof *more);
        draft->helper_size = more;
        draft->helper_room *= 2;
    }
    draft->helper_size[draft->helpers] = size;
    return -1 - draft->helpers++;
}

void rl_draft_scale(rl_draft *draft, double factor)
{
    draft->log_scale += log(factor);
}

void rl_draft_see_through(rl_arena *arena, const rl_exprs *exprs, rl_cells *table)
{
    static const int nothing[1] = {0};
    for (int i = 0; i < table->count;) {
        int input = table->input[i];
        rl_expr x = input >= 0 ? exprs->at[input] : (rl_expr){.sort = RL_X_ELEMENT};
        int size = x.sort == RL_X_FAILED || x.sort == RL_X_CALM ? rl_expr_rows(exprs, x.a) : 1;
        if (x.sort == RL_X_SOUND)
            rl_cells_expand(arena, table, i, 0, NULL, NULL, nothing);
        else if (x.sort == RL_X_CALM)
            rl_cells_expand(arena, table, i, 1, &x.a, &size, exprs->calm_row);
        else if (x.sort == RL_X_FAILED)
            rl_cells_expand(arena, table, i, 1, &x.a, &size, exprs->failed_row);
        else
            i++;
    }
}

void rl_draft_widen(rl_arena *arena, const rl_exprs *exprs, rl_cells *table, int at, rl_mask mask, int bit)
{
    int input = table->input[at], size = rl_expr_size(exprs, input, mask);
    if (exprs->at[input].sort == RL_X_LOAD || (mask == 1u << bit && !exprs->at[input].calm))
        return;
    int *map = rl_raw(arena, size, int);
    for (int v = 0; v < size; v++)
        map[v] = rl_expr_row(exprs, input, mask, bit, v);
    rl_cells_expand(arena, table, at, 1, &input, &size, map);
}

static void append(rl_draft *draft, const rl_cells *table)
{
    if (draft->factors == draft->room) {
        rl_cells *more = rl_raw(draft->arena, draft->room * 2, rl_cells);
        memcpy(more, draft->factor, (size_t)draft->factors * sizeof *more);
        draft->factor = more;
        draft->room *= 2;
    }
    draft->factor[draft->factors++] = *table;
}

/* The newest factor on the expression alone; room is made for it. */
static int *own_slot(rl_draft *draft, int expr)
{
    if (expr >= draft->slots) {
        int slots = draft->slots ? draft->slots : 256;
        while (expr >= slots)
            slots *= 2;
        int *more = rl_raw(draft->arena, slots, int);
        if (draft->slots > 0)
            memcpy(more, draft->own_of, (size_t)draft->slots * sizeof *more);
        memset(more + draft->slots, -1, (size_t)(slots - draft->slots) * sizeof *more);
        draft->own_of = more;
        draft->slots = slots;
    }
    return &draft->own_of[expr];
}

static const double *product_of(rl_arena *arena, const double *a, const double *b, int size)
{
    double *out = rl_raw(arena, size, double);
    for (int v = 0; v < size; v++)
        out[v] = a[v] * b[v];
    return out;
}

static void add_own(rl_draft *draft, int expr, const double *row, int bit, int times)
{
    int *slot = own_slot(draft, expr);
    if (*slot >= 0 && draft->own[*slot].bit == bit) {
        rl_own *own = &draft->own[*slot];
        own->times += times;
        own->row = product_of(draft->arena, own->row, row, rl_expr_rows(draft->exprs, expr));
        return;
    }
    if (draft->owns == draft->own_room) {
        rl_own *more = rl_raw(draft->arena, draft->own_room * 2, rl_own);
        memcpy(more, draft->own, (size_t)draft->owns * sizeof *more);
        draft->own = more;
        draft->own_room *= 2;
    }
    *slot = draft->owns;
    draft->own[draft->owns++] = (rl_own){expr, bit, times, row};
}

void rl_draft_add_own(rl_draft *draft, int expr, const double *row, int bit)
{
    rl_expr x = draft->exprs->at[expr];
    if (x.sort == RL_X_SOUND) {
        rl_draft_scale(draft, row[0]);
        return;
    }
    if (x.sort != RL_X_CALM && x.sort != RL_X_FAILED) {
        add_own(draft, expr, row, bit, 1);
        return;
    }
    int rows = rl_expr_rows(draft->exprs, x.a);
    double *seen = rl_raw(draft->arena, rows, double);
    const int *map = x.sort == RL_X_CALM ? draft->exprs->calm_row : draft->exprs->failed_row;
    for (int v = 0; v < rows; v++)
        seen[v] = row[map[v]];
    add_own(draft, x.a, seen, bit, 1);
}

void rl_draft_add(rl_draft *draft, const rl_cells *table, int bit)
{
    rl_cells own = *table;
    own.bit = bit;
    rl_draft_see_through(draft->arena, draft->exprs, &own);
    rl_cells_merge(draft->arena, &own);
    if (own.count == 0)
        rl_draft_scale(draft, own.cell[0]);
    else if (own.count == 1 && own.input[0] >= 0)
        add_own(draft, own.input[0], own.cell, bit, 1);
    else
        append(draft, &own);
}

void rl_draft_further(rl_draft *further, rl_draft *draft)
{
    rl_draft_make(further, draft->arena, draft->exprs);
    for (int h = 0; h < draft->helpers; h++)
        rl_draft_helper(further, draft->helper_size[h]);
}

void rl_draft_join(rl_draft *draft, const rl_draft *further)
{
    assert(draft->exprs == further->exprs && further->helpers >= draft->helpers);
    for (int h = draft->helpers; h < further->helpers; h++)
        rl_draft_helper(draft, further->helper_size[h]);
    for (int i = 0; i < further->owns; i++)
        add_own(draft, further->own[i].expr, further->own[i].row, further->own[i].bit, further->own[i].times);
    for (int f = 0; f < further->factors; f++)
        append(draft, &further->factor[f]);
    draft->log_scale += further->log_scale;
}

/* ---- paths and their parts ---- */

int rl_draft_parts(const rl_exprs *exprs, int expr, int part[2])
{
    rl_expr x = exprs->at[expr];
    part[0] = rl_draft_part(exprs, x.a);
    part[1] = rl_draft_part(exprs, x.b);
    return x.sort >= RL_X_MAX ? 2 : 1;
}

int rl_draft_part(const rl_exprs *exprs, int part)
{
    return exprs->at[part].sort == RL_X_FAILED ? exprs->at[part].a : part;
}

/* Value `v` (under `own`) of what stands behind a part, as a value of the path (under `whole`). */
static int part_value(const rl_exprs *exprs, int part, rl_mask own, int path, rl_mask whole, int v)
{
    const rl_frame *frame = exprs->frame;
    int open = rl_expr_size(exprs, path, whole) - 1;
    if (exprs->at[part].sort == RL_X_FAILED)
        return v == 0 ? 0 : open;
    if (v < rl_frame_patterns(own))
        return rl_frame_project(frame, own, whole, v);
    if (exprs->at[part].calm)
        return open;
    if (exprs->at[path].calm)
        return v == rl_frame_size(frame, own) - 1 ? open : 0;
    return rl_frame_project(frame, own, whole, v);
}

/* The same for all values. */
static const int *part_map(rl_arena *arena, const rl_exprs *exprs, int part, rl_mask own, int path, rl_mask whole)
{
    int size = rl_expr_size(exprs, rl_draft_part(exprs, part), own);
    int *map = rl_raw(arena, size, int);
    for (int v = 0; v < size; v++)
        map[v] = part_value(exprs, part, own, path, whole, v);
    return map;
}

const int *rl_draft_of_parts(rl_arena *arena, const rl_exprs *exprs, int expr, rl_mask whole,
                             rl_mask mask_a, rl_mask mask_b)
{
    rl_expr x = exprs->at[expr];
    const int *of_a = part_map(arena, exprs, x.a, mask_a, expr, whole);
    if (x.sort == RL_X_CALM)
        return of_a;
    const int *of_b = part_map(arena, exprs, x.b, mask_b, expr, whole);
    int size_a = rl_expr_size(exprs, rl_draft_part(exprs, x.a), mask_a);
    int size_b = rl_expr_size(exprs, rl_draft_part(exprs, x.b), mask_b);
    int patterns = rl_frame_patterns(whole);
    int *map = rl_raw(arena, size_a * size_b, int);
    for (int a = 0; a < size_a; a++)
        for (int b = 0; b < size_b; b++)
            map[a * size_b + b] = x.sort == RL_X_MAX ? rl_frame_max(patterns, of_a[a], of_b[b])
                                                     : rl_frame_min(patterns, of_a[a], of_b[b]);
    return map;
}

void rl_draft_write_out(rl_arena *arena, const rl_exprs *exprs, rl_cells *table, int at, rl_mask whole,
                        rl_mask mask_a, rl_mask mask_b)
{
    int expr = table->input[at], fresh[2], count = rl_draft_parts(exprs, expr, fresh);
    int size[2] = {rl_expr_size(exprs, fresh[0], mask_a), count > 1 ? rl_expr_size(exprs, fresh[1], mask_b) : 1};
    const int *map = rl_draft_of_parts(arena, exprs, expr, whole, mask_a, mask_b);
    rl_cells_expand(arena, table, at, count, fresh, size, map);
    rl_cells_merge(arena, table);
}

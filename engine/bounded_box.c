/* bounded_box.c: parts of a net, and what follows from a part.
 *
 * Invariant: see bounded_box.h.  Lists of values stay rising.
 */
#include "bounded_box.h"
#include "infer_private.h"

#include <assert.h>
#include <string.h>

enum { MOST_AXES = 64 };

static void list_users(rl_boxes *boxes, rl_arena *arena)
{
    const rl_net *net = boxes->net;
    boxes->user_start = rl_many(arena, boxes->variables + 1, int);
    for (int f = 0; f < boxes->factors; f++)
        for (int i = 0; i < net->factor[f].count; i++)
            boxes->user_start[net->factor[f].variable[i] + 1]++;
    for (int v = 0; v < boxes->variables; v++)
        boxes->user_start[v + 1] += boxes->user_start[v];
    boxes->user = rl_many(arena, boxes->user_start[boxes->variables] + 1, int);
    int *filled = rl_many(arena, boxes->variables + 1, int);
    memcpy(filled, boxes->user_start, (size_t)boxes->variables * sizeof *filled);
    for (int f = 0; f < boxes->factors; f++)
        for (int i = 0; i < net->factor[f].count; i++)
            boxes->user[filled[net->factor[f].variable[i]]++] = f;
}

void rl_boxes_make(rl_boxes *boxes, rl_arena *arena, const rl_net *net)
{
    *boxes = (rl_boxes){.net = net, .variables = net->variables, .factors = net->factors};
    boxes->first = rl_many(arena, boxes->variables + 1, int);
    for (int v = 0; v < boxes->variables; v++)
        boxes->first[v + 1] = boxes->first[v] + net->size[v];
    list_users(boxes, arena);
    boxes->queue = rl_many(arena, boxes->factors + 1, int);
    boxes->waiting = rl_many(arena, boxes->factors + 1, bool);
    boxes->supported = rl_many(arena, boxes->first[boxes->variables] + 1, unsigned char);
}

static void enqueue(rl_boxes *boxes, int factor)
{
    if (boxes->waiting[factor])
        return;
    boxes->waiting[factor] = true;
    boxes->queue[boxes->queued++] = factor;
    assert(boxes->queued <= boxes->factors);
}

static void enqueue_users(rl_boxes *boxes, int variable)
{
    for (int i = boxes->user_start[variable]; i < boxes->user_start[variable + 1]; i++)
        enqueue(boxes, boxes->user[i]);
}

static void empty_queue(rl_boxes *boxes)
{
    while (boxes->queued > 0)
        boxes->waiting[boxes->queue[--boxes->queued]] = false;
}

static rl_box take_box(rl_arena *arena, rl_boxes *boxes)
{
    return (rl_box){boxes, rl_many(arena, boxes->first[boxes->variables] + 1, int),
                    rl_many(arena, boxes->variables + 1, int)};
}

rl_box rl_box_whole(rl_arena *arena, rl_boxes *boxes)
{
    rl_box box = take_box(arena, boxes);
    empty_queue(boxes);
    for (int v = 0; v < boxes->variables; v++) {
        box.count[v] = boxes->net->size[v];
        for (int i = 0; i < box.count[v]; i++)
            box.value[boxes->first[v] + i] = i;
    }
    for (int f = 0; f < boxes->factors; f++)
        enqueue(boxes, f);
    return box;
}

rl_box rl_box_copy(rl_arena *arena, const rl_box *box)
{
    rl_boxes *boxes = box->boxes;
    rl_box copy = take_box(arena, boxes);
    empty_queue(boxes);
    memcpy(copy.value, box->value, (size_t)boxes->first[boxes->variables] * sizeof *copy.value);
    memcpy(copy.count, box->count, (size_t)boxes->variables * sizeof *copy.count);
    boxes->steps += boxes->first[boxes->variables] / 4;
    return copy;
}

void rl_box_limit(rl_box *box, int variable, int low, int high)
{
    int *value = box->value + box->boxes->first[variable], kept = 0;
    for (int i = 0; i < box->count[variable]; i++)
        if (value[i] >= low && value[i] < high)
            value[kept++] = value[i];
    if (kept < box->count[variable])
        enqueue_users(box->boxes, variable);
    box->count[variable] = kept;
}

/* ---- over the cells of a factor that lie in a box ---- */

typedef struct walk {
    int count;
    int at[MOST_AXES], size[MOST_AXES];
    const int *value[MOST_AXES];
    size_t step[MOST_AXES];
} walk;

static void walk_start(walk *w, const rl_box *box, const rl_table *table)
{
    assert(table->count <= MOST_AXES);
    size_t step = 1;
    w->count = table->count;
    for (int i = table->count - 1; i >= 0; i--) {
        int v = table->variable[i];
        w->at[i] = 0;
        w->size[i] = box->count[v];
        w->value[i] = rl_box_values(box, v);
        w->step[i] = step;
        step *= (size_t)box->boxes->net->size[v];
    }
}

static size_t walk_cell(const walk *w)
{
    size_t cell = 0;
    for (int i = 0; i < w->count; i++)
        cell += (size_t)w->value[i][w->at[i]] * w->step[i];
    return cell;
}

static bool walk_on(walk *w)
{
    for (int i = w->count - 1; i >= 0; i--) {
        if (++w->at[i] < w->size[i])
            return true;
        w->at[i] = 0;
    }
    return false;
}

/* ---- pruning ---- */

/* Marks what one run of cells, the last variable's values, supports of it;
 * the number of new marks, or -1 if all cells are 0. */
static int mark_run(const double *cells, const int *value, int count, unsigned char *mark)
{
    int fresh = -1;
    for (int i = 0; i < count; i++)
        if (cells[value[i]] > 0) {
            fresh += (fresh < 0) + !mark[i];
            mark[i] = 1;
        }
    return fresh;
}

/* Marks the values of all other variables where the walk stands. */
static int mark_others(const rl_boxes *boxes, const rl_table *table, const walk *w)
{
    int fresh = 0;
    for (int i = 0; i < w->count; i++) {
        unsigned char *mark = &boxes->supported[boxes->first[table->variable[i]] + w->at[i]];
        fresh += !*mark;
        *mark = 1;
    }
    return fresh;
}

/* Marks what the factor supports; the number of marks, or `all` as soon as there are so many. */
static int find_support(const rl_box *box, const rl_table *table, int all)
{
    rl_boxes *boxes = box->boxes;
    walk w;
    int marks = 0, last = table->variable[table->count - 1];
    for (int i = 0; i < table->count; i++)
        memset(boxes->supported + boxes->first[table->variable[i]], 0, (size_t)box->count[table->variable[i]]);
    walk_start(&w, box, table);
    w.count--;   /* the last variable's values are taken together */
    do {
        int fresh = mark_run(table->cells + walk_cell(&w), rl_box_values(box, last), box->count[last],
                             boxes->supported + boxes->first[last]);
        boxes->steps += box->count[last];
        if (fresh >= 0)
            marks += fresh + mark_others(boxes, table, &w);
    } while (marks < all && walk_on(&w));
    return marks;
}

/* Drops what has no mark; whether something is left. */
static bool drop_unsupported(rl_box *box, int variable)
{
    rl_boxes *boxes = box->boxes;
    int *value = box->value + boxes->first[variable], kept = 0;
    for (int i = 0; i < box->count[variable]; i++)
        if (boxes->supported[boxes->first[variable] + i])
            value[kept++] = value[i];
    if (kept < box->count[variable])
        enqueue_users(boxes, variable);
    box->count[variable] = kept;
    return kept > 0;
}

static bool look_at(rl_box *box, int factor)
{
    const rl_table *table = &box->boxes->net->factor[factor];
    int all = 0;
    for (int i = 0; i < table->count; i++) {
        if (box->count[table->variable[i]] == 0)
            return false;
        all += box->count[table->variable[i]];
    }
    if (table->count == 0)
        return table->cells[0] > 0;
    if (find_support(box, table, all) == all)
        return true;
    bool left = true;
    for (int i = 0; i < table->count && left; i++)
        left = drop_unsupported(box, table->variable[i]);
    return left;
}

bool rl_box_prune(rl_box *box)
{
    rl_boxes *boxes = box->boxes;
    while (boxes->queued > 0) {
        int factor = boxes->queue[--boxes->queued];
        boxes->waiting[factor] = false;
        if (!look_at(box, factor)) {
            empty_queue(boxes);
            return false;
        }
    }
    return true;
}

/* ---- the net of a box ---- */

static const double *cells_inside(rl_arena *arena, const rl_box *box, const rl_table *table)
{
    size_t cells = 1;
    bool whole = true;
    for (int i = 0; i < table->count; i++) {
        int v = table->variable[i];
        cells *= (size_t)box->count[v];
        whole = whole && box->count[v] == box->boxes->net->size[v];
    }
    if (whole)
        return table->cells;
    double *inside = rl_arena_raw(arena, cells * sizeof *inside), *to = inside;
    walk w;
    walk_start(&w, box, table);
    do
        *to++ = table->cells[walk_cell(&w)];
    while (walk_on(&w));
    box->boxes->steps += (double)cells;
    return inside;
}

/* Variables of one value are left out of the tables. */
rl_net *rl_box_net(rl_arena *arena, const rl_box *box)
{
    const rl_net *net = box->boxes->net;
    rl_net *fresh = rl_net_new(arena);
    for (int v = 0; v < net->variables; v++)
        rl_net_variable(fresh, box->count[v]);
    for (int f = 0; f < net->factors; f++) {
        const rl_table *table = &net->factor[f];
        int variable[MOST_AXES], count = 0;
        for (int i = 0; i < table->count; i++)
            if (box->count[table->variable[i]] > 1)
                variable[count++] = table->variable[i];
        rl_net_factor(fresh, count, variable, cells_inside(arena, box, table));
    }
    return fresh;
}

double rl_box_cells(const rl_box *box, const rl_plan *plan)
{
    double sum = 0;
    for (int k = 0; k < plan->variables; k++) {
        double cells = 1;
        for (int i = 0; i < rl_scope_count(plan, k); i++)
            cells *= box->count[plan->order[rl_scope(plan, k)[i]]];
        sum += cells;
    }
    return sum < RL_MOST_CELLS ? sum : RL_MOST_CELLS;
}

int rl_box_best_part(rl_arena *arena, const rl_box *box, const rl_plan *plan, int most_values)
{
    rl_mark mark = rl_arena_mark(arena);
    double *saved = rl_many(arena, plan->variables + 1, double), most = 0;
    int best = -1;
    for (int k = 0; k < plan->variables; k++) {
        const int *scope = rl_scope(plan, k);
        double cells = 1;
        for (int i = 0; i < rl_scope_count(plan, k); i++)
            cells *= box->count[plan->order[scope[i]]];
        for (int i = 0; i < rl_scope_count(plan, k); i++)
            saved[plan->order[scope[i]]] += cells - cells / box->count[plan->order[scope[i]]];
    }
    for (int v = 0; v < plan->variables; v++)
        if (box->count[v] > 1 && box->count[v] <= most_values && saved[v] > most) {
            most = saved[v];
            best = v;
        }
    rl_arena_rewind(arena, mark);
    return best;
}

/* crowd_stops.c: points, splices and feeds that lead to workers only, summed away with the model.
 *
 * Invariant: a stop has one way at most, without connectors, and is no feed that a coil operates;
 * whatever leads to it is a worker by such a way, or a stop, or leads to no worker at all.
 * Nothing else but lines of a case knows of it, then.
 */
#include "crowd.h"

#include <assert.h>
#include <math.h>
#include <string.h>

typedef struct maker {
    rl_arena *arena;
    rl_arena *scratch;
    const rl_model *model;
    const rl_frame *frame;
    rl_crowd_book *book;
    bool *busy;             /* by element: it cannot be one */
    bool *leads;            /* by element: workers are behind it */
    int *pending;           /* by element: candidates that lead to it and are not stops yet */
    double **product;       /* by element: of all behind it, by row of its own path; NULL: nothing yet */
    double *log_scale, *log_alone;
    double *value;          /* room for a row */
} maker;

/* ---- what may be one ---- */

static bool is_straight(const rl_alternative *way)
{
    return way->via_count == 0;
}

/* What follows an element of one straight way at most; -1: nothing. */
static int next_of(const maker *m, int element)
{
    const rl_node *node = &m->model->node[element];
    return node->way_count == 1 ? node->way[0].parent : -1;
}

/* By its own shape. */
static bool is_candidate(const maker *m, int element)
{
    const rl_node *node = &m->model->node[element];
    rl_sort sort = node->info.sort;
    if (sort != RL_POINT && sort != RL_SPLICE && sort != RL_FEED)
        return false;
    return node->way_count <= 1 && node->coil < 0 && (node->way_count == 0 || is_straight(&node->way[0]));
}

/* Neither the element nor what follows it is one. */
static void mark_busy(maker *m, int element, int *stack)
{
    int depth = 0;
    if (element < 0 || m->busy[element])
        return;
    m->busy[element] = true;
    for (stack[depth++] = element; depth > 0;) {
        const rl_node *node = &m->model->node[stack[--depth]];
        for (int w = 0; w < node->way_count; w++) {
            int next = node->way[w].parent;
            if (next < 0 || m->busy[next])
                continue;
            m->busy[next] = true;
            stack[depth++] = next;
        }
    }
}

static bool is_worker(const maker *m, int element)
{
    return m->book->worker_of[element] >= 0;
}

static void find_busy(maker *m)
{
    int nodes = m->model->nodes, *stack = rl_many(m->scratch, nodes + 1, int);
    for (int e = 0; e < nodes; e++) {
        const rl_node *node = &m->model->node[e];
        bool wire = node->info.sort == RL_WIRE, load = node->info.sort == RL_LOAD;
        if (load && !(is_worker(m, e) && is_straight(&node->feed)))
            mark_busy(m, node->feed.parent, stack);
        if (wire && is_worker(m, e) && node->way_count == 1 && is_straight(&node->way[0]))
            continue;
        if (!load && !is_candidate(m, e))
            mark_busy(m, e, stack);
    }
}

/* ---- from the workers on ---- */

static double *product_of(maker *m, int element)
{
    if (m->product[element])
        return m->product[element];
    double *row = m->product[element] = rl_raw(m->scratch, m->frame->rows, double);
    for (int v = 0; v < m->frame->rows; v++)
        row[v] = 1;
    return row;
}

/* What leads to workers, and how many stops lead to each. */
static void mark_leading(maker *m, int element)
{
    for (; element >= 0 && !m->busy[element] && !m->leads[element]; element = next_of(m, element)) {
        m->leads[element] = true;
        int next = next_of(m, element);
        if (next >= 0)
            m->pending[next]++;
    }
}

/* The element that all workers of a group lead to straight away; -1: none that may be a stop. */
static int met_by(const maker *m, const rl_crowd_group *group, bool fed)
{
    const rl_worker *first = &m->book->worker[group->worker[0]];
    const rl_alternative *way = &m->model->node[first->load].feed;
    if (!fed && m->model->node[first->wire].way_count != 1)
        return -1;
    way = fed ? way : &m->model->node[first->wire].way[0];
    return way->parent < 0 || m->busy[way->parent] || !is_straight(way) ? -1 : way->parent;
}

static void take_group(maker *m, rl_crowd_group *group, bool fed)
{
    int element = group->stop = met_by(m, group, fed);
    if (element < 0)
        return;
    mark_leading(m, element);
    rl_crowd_multiply(product_of(m, element), group->product, m->frame->rows, &m->log_scale[element]);
    m->log_scale[element] += group->log_scale;
    m->log_alone[element] += group->log_alone;
}

/* ---- stops ---- */

/* The element summed away where the way that follows is of row v. */
static void sum_element(const maker *m, rl_crowd_stop *stop, const double *product, int v)
{
    const rl_node *node = &m->model->node[stop->element];
    int patterns = rl_frame_patterns(1), rows = m->frame->rows;
    double sum = 0, quiet = node->info.prior[RL_LOOSE] * node->quiet * product[v], *path = &stop->path[v * rows];
    for (int e = 0; e < rows; e++) {
        int r = rl_frame_max(patterns, v, e);
        double weight = m->value[e] * product[r];
        stop->state[v][rl_frame_state(m->frame, e)] += e == 0 ? node->info.prior[RL_SOUND] * product[v] : weight;
        path[r] += weight;
        sum += weight;
    }
    stop->state[v][RL_LOOSE] += quiet;
    for (int s = 0; s < RL_WIRE_STATES && sum > 0; s++)
        stop->state[v][s] /= sum;
    for (int r = 0; r < rows && sum > 0; r++)
        path[r] /= sum;
    stop->row[v] = sum;
}

static void add_stop(maker *m, int element)
{
    int rows = m->frame->rows;
    rl_crowd_stop *stop = &m->book->stop[m->book->stops];
    *stop = (rl_crowd_stop){.element = element, .next = -1, .fed = m->model->node[element].info.sort == RL_FEED,
                            .log_scale = m->log_scale[element], .log_alone = m->log_alone[element]};
    stop->row = rl_raw(m->arena, rows, double);
    stop->path = rl_many(m->arena, rows * rows, double);
    stop->state = rl_arena_array(m->arena, (size_t)rows, sizeof *stop->state);
    rl_frame_spread(m->frame, 1, &m->model->node[element], m->model->node[element].info.prior, m->value);
    for (int v = 0; v < rows; v++)
        sum_element(m, stop, product_of(m, element), v);
    m->book->stop_of[element] = m->book->stops++;
}

/* A stop after all that lead to it, and what follows if it waits for nothing more. */
static void add_stops_from(maker *m, int element)
{
    while (element >= 0 && !m->busy[element] && m->pending[element] == 0) {
        int next = next_of(m, element);
        add_stop(m, element);
        m->leads[element] = false;   /* it is done */
        if (next < 0 || m->busy[next])
            return;
        const rl_crowd_stop *stop = &m->book->stop[m->book->stop_of[element]];
        rl_crowd_multiply(product_of(m, next), stop->row, m->frame->rows, &m->log_scale[next]);
        m->log_scale[next] += stop->log_scale;
        m->log_alone[next] += stop->log_alone;
        m->pending[next]--;
        element = next;
    }
}

static void link_groups(const rl_crowd_book *book, rl_crowd_group *group, int groups)
{
    for (int g = 0; g < groups; g++)
        group[g].stop = group[g].stop < 0 ? -1 : book->stop_of[group[g].stop];
}

void rl_crowd_stops_make(rl_arena *arena, rl_arena *scratch, const rl_model *model, const rl_frame *frame, rl_crowd_book *book)
{
    int n = model->nodes, leading = 0;
    maker m = {.arena = arena, .scratch = scratch, .model = model, .frame = frame, .book = book,
               .busy = rl_many(scratch, n, bool), .leads = rl_many(scratch, n, bool), .pending = rl_many(scratch, n, int),
               .product = rl_many(scratch, n, double *), .log_scale = rl_many(scratch, n, double),
               .log_alone = rl_many(scratch, n, double), .value = rl_raw(scratch, frame->rows, double)};
    find_busy(&m);
    for (int b = 0; b < book->berths; b++)
        take_group(&m, &book->berth[b], false);
    for (int f = 0; f < book->feedings; f++)
        take_group(&m, &book->feeding[f], true);
    for (int e = 0; e < n; e++)
        leading += m.leads[e];
    book->stop_of = memset(rl_raw(arena, n, int), -1, (size_t)n * sizeof(int));
    book->stop = rl_many(arena, leading, rl_crowd_stop);
    for (int e = 0; e < n; e++)
        if (m.leads[e])
            add_stops_from(&m, e);
    assert(book->stops == leading);
    for (int s = 0; s < book->stops; s++) {
        int next = next_of(&m, book->stop[s].element);
        book->stop[s].next = next < 0 ? -1 : book->stop_of[next];
    }
    link_groups(book, book->berth, book->berths);
    link_groups(book, book->feeding, book->feedings);
}

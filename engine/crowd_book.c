/* crowd_book.c: what each load says when it works, made once with the model.
 *
 * Invariant: a worker's row over the way behind its wire is the wire's weights times that its return
 * draws the first level, summed over the wire; `state` holds each summand's share.  A load that
 * operates a relay is no worker: feed paths know its state.
 */
#include "crowd.h"
#include "observe.h"

#include <math.h>
#include <string.h>

/* Things met before, by a number that they have in common.  Each is its own number + 1, so that 0 is none. */
typedef struct chain {
    int *newest, *before;   /* of a number; of a thing: the one before it of the same number */
    int *first;             /* of a group: its first worker */
} chain;

typedef struct maker {
    rl_arena *arena;
    const rl_model *model;
    rl_frame frame;
    rl_crowd_book *book;
    rl_crowd_sort *sort;
    int sorts;
    chain of_kind, of_point, of_feed;   /* sorts by kind; groups by the parent of their first way */
    double *value;                      /* room for a row */
} maker;

void rl_crowd_multiply(double *product, const double *row, int rows, double *log_scale)
{
    double greatest = 0;
    for (int v = 0; v < rows; v++) {
        product[v] *= row[v];
        greatest = product[v] > greatest ? product[v] : greatest;
    }
    if (greatest > 1e-60 || !(greatest > 0))
        return;
    *log_scale += log(greatest);
    for (int v = 0; v < rows; v++)
        product[v] /= greatest;
}

/* ---- sorts ---- */

/* That a side of a load draws the first level, by row. */
static double *first_level(const maker *m, const double *const *side)
{
    double *out = rl_raw(m->arena, m->frame.rows, double);
    for (int v = 0; v < m->frame.rows; v++)
        out[v] = side[rl_observe_row(&m->frame, v)][0];
    return out;
}

/* The wire summed away where the way behind it is of row v. */
static void sum_wire(const maker *m, rl_crowd_sort *sort, const double *first, int v)
{
    const double *prior = sort->wire->info.prior;
    int patterns = rl_frame_patterns(1);
    double weight[RL_WIRE_STATES] = {0}, sum = 0;
    rl_frame_spread(&m->frame, 1, sort->wire, prior, m->value);
    weight[RL_SOUND] = prior[RL_SOUND] * first[v];
    weight[RL_LOOSE] = prior[RL_LOOSE] * sort->wire->quiet * first[v];
    for (int w = 1; w < m->frame.rows; w++)
        weight[rl_frame_state(&m->frame, w)] += m->value[w] * first[rl_frame_max(patterns, v, w)];
    for (int s = 0; s < RL_WIRE_STATES; s++)
        sum += weight[s];
    for (int s = 0; s < RL_WIRE_STATES; s++)
        sort->state[v][s] = sum > 0 ? weight[s] / sum : 0;
    sort->back[v] = sum;
}

static bool is_of_sort(const rl_crowd_sort *sort, const rl_rows *rows, const rl_node *wire)
{
    return sort->rows == rows && sort->wire->bin_mass == wire->bin_mass && sort->wire->quiet == wire->quiet &&
           memcmp(sort->wire->info.prior, wire->info.prior, sizeof wire->info.prior) == 0;
}

static const rl_crowd_sort *sort_of(maker *m, const rl_rows *rows, const rl_node *wire)
{
    int at = m->of_kind.newest[rows->kind];
    while (at && !is_of_sort(&m->sort[at - 1], rows, wire))
        at = m->of_kind.before[at - 1];
    if (at)
        return &m->sort[at - 1];
    rl_crowd_sort *sort = &m->sort[m->sorts];
    m->of_kind.before[m->sorts] = m->of_kind.newest[rows->kind];
    m->of_kind.newest[rows->kind] = ++m->sorts;
    *sort = (rl_crowd_sort){.rows = rows, .wire = wire};
    sort->fed = first_level(m, rows->side[1]);
    sort->back = rl_raw(m->arena, m->frame.rows, double);
    sort->state = rl_arena_array(m->arena, (size_t)m->frame.rows, sizeof *sort->state);
    const double *first = first_level(m, rows->side[0]);
    for (int v = 0; v < m->frame.rows; v++)
        sum_wire(m, sort, first, v);
    return sort;
}

/* ---- groups ---- */

static bool same_way(const rl_alternative *a, const rl_alternative *b)
{
    return a->parent == b->parent && a->via_count == b->via_count &&
           (a->via_count == 0 || memcmp(a->via, b->via, (size_t)a->via_count * sizeof *a->via) == 0);
}

static bool same_ways(const rl_alternative *a, int a_count, const rl_alternative *b, int b_count)
{
    bool same = a_count == b_count;
    for (int w = 0; same && w < a_count; w++)
        same = same_way(&a[w], &b[w]);
    return same;
}

/* Of a worker: its wire's ways, or the one of its feed. */
static const rl_alternative *ways_of(const rl_model *model, const rl_worker *w, bool fed, int *count)
{
    *count = fed ? 1 : model->node[w->wire].way_count;
    return fed ? &model->node[w->load].feed : model->node[w->wire].way;
}

/* The group of a worker's ways; of a new one the worker is the first. */
static int group_of(maker *m, int worker, bool fed)
{
    rl_crowd_book *book = m->book;
    chain *c = fed ? &m->of_feed : &m->of_point;
    int count, other, *groups = fed ? &book->feedings : &book->berths;
    const rl_alternative *way = ways_of(m->model, &book->worker[worker], fed, &count);
    int *newest = &c->newest[count > 0 ? way[0].parent + 1 : 0];
    for (int at = *newest; at; at = c->before[at - 1]) {
        const rl_alternative *known = ways_of(m->model, &book->worker[c->first[at - 1]], fed, &other);
        if (same_ways(way, count, known, other))
            return at - 1;
    }
    c->before[*groups] = *newest;
    *newest = *groups + 1;
    c->first[*groups] = worker;
    return (*groups)++;
}

static double *ones(rl_arena *arena, int count)
{
    double *out = rl_raw(arena, count, double);
    for (int i = 0; i < count; i++)
        out[i] = 1;
    return out;
}

/* Lists of the workers of each group, and their products. */
static void fill_groups(maker *m, rl_crowd_group *group, int groups, bool fed)
{
    const rl_crowd_book *book = m->book;
    for (int i = 0; i < book->workers; i++)
        group[fed ? book->worker[i].feeding : book->worker[i].berth].count++;
    for (int g = 0; g < groups; g++) {
        group[g].worker = rl_raw(m->arena, group[g].count, int);
        group[g].product = ones(m->arena, book->rows);
        group[g].count = 0;
    }
    for (int i = 0; i < book->workers; i++) {
        const rl_worker *w = &book->worker[i];
        rl_crowd_group *own = &group[fed ? w->feeding : w->berth];
        own->worker[own->count++] = i;
        own->log_alone += fed ? 0 : w->log_alone;
        rl_crowd_multiply(own->product, fed ? w->sort->fed : w->sort->back, book->rows, &own->log_scale);
    }
}

/* ---- workers ---- */

/* What the state of something else makes of the loads' own: coils, and what stands in another's way. */
static bool *list_known(const rl_model *model, rl_arena *scratch)
{
    bool *known = rl_many(scratch, model->nodes + 1, bool);
    for (int e = 0; e < model->nodes; e++) {
        const rl_node *node = &model->node[e];
        if (node->coil >= 0)
            known[node->coil] = true;
        for (int w = 0; w < node->way_count; w++)
            if (node->way[w].parent >= 0)
                known[node->way[w].parent] = true;
    }
    return known;
}

static void add_worker(maker *m, int load)
{
    const rl_model *model = m->model;
    rl_worker *w = &m->book->worker[m->book->workers];
    const rl_node *node = &model->node[load];
    const rl_rows *rows = model->rows->of_load[load];
    const rl_behaviour *kind = &model->kind[rows->kind];
    double sound = node->info.prior[RL_SOUND], failed = node->info.prior[RL_FAILED] * kind->failed[0];
    *w = (rl_worker){.load = load, .wire = node->info.wire, .sort = sort_of(m, rows, &model->node[node->info.wire])};
    w->log_alone = log(kind->otherwise[0] * (sound + failed));
    w->failed = sound + failed > 0 ? failed / (sound + failed) : 0;
    w->berth = group_of(m, m->book->workers, false);
    w->feeding = group_of(m, m->book->workers, true);
    m->book->worker_of[load] = m->book->worker_of[w->wire] = m->book->workers++;
}

static chain new_chain(rl_arena *scratch, int numbers, int things)
{
    return (chain){rl_many(scratch, numbers + 1, int), rl_many(scratch, things + 1, int), rl_many(scratch, things + 1, int)};
}

rl_crowd_book *rl_crowd_book_make(rl_arena *arena, rl_arena *scratch, const rl_model *model)
{
    static const bool used = true;
    int n = model->nodes, loads = 0;
    for (int e = 0; e < n; e++)
        loads += model->node[e].info.sort == RL_LOAD;
    rl_crowd_book *book = rl_new(arena, rl_crowd_book);
    maker m = {.arena = arena, .model = model, .book = book, .of_kind = new_chain(scratch, model->kinds, loads),
               .of_point = new_chain(scratch, n, loads), .of_feed = new_chain(scratch, n, loads)};
    rl_frame_make(&m.frame, arena, model, &used, 1);
    m.sort = rl_many(arena, loads, rl_crowd_sort);
    m.value = rl_raw(scratch, m.frame.rows, double);
    book->rows = m.frame.rows;
    book->worker = rl_many(arena, loads, rl_worker);
    book->berth = rl_many(arena, loads, rl_crowd_group);
    book->feeding = rl_many(arena, loads, rl_crowd_group);
    book->worker_of = memset(rl_raw(arena, n, int), -1, (size_t)n * sizeof(int));
    const bool *known = list_known(model, scratch);
    for (int e = 0; e < n; e++)
        if (model->node[e].info.sort == RL_LOAD && !known[e] && !known[model->node[e].info.wire])
            add_worker(&m, e);
    fill_groups(&m, book->berth, book->berths, false);
    fill_groups(&m, book->feeding, book->feedings, true);
    rl_crowd_stops_make(arena, scratch, model, &m.frame, book);
    return book;
}

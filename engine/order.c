/* order.c: in which order to sum variables out.
 *
 * First the variables that touch at most one other, again and again: that is
 * never wrong, and leaves nothing of a tree.  What remains, the core, is
 * ordered greedily on a graph of bit sets, by what the next step costs; as long
 * as another try costs little beside the tables of the best order so far, other
 * ideas of cost are tried, with disturbed costs (repeatably: no clock, no true
 * chance).  At last the buckets are read off the best order.
 * Invariant: an order is a permutation, and nothing here is as large as a table.
 */
#include "infer_private.h"

#include <assert.h>
#include <stdint.h>
#include <string.h>

/* ---- which variables share a factor ---- */

typedef struct net_graph {
    int variables;
    size_t *start;     /* neighbours of v: neighbour[start[v]] .. of degree[v] */
    int *neighbour, *degree;
} net_graph;

/* Takes the doubles out of one list of neighbours. */
static int without_doubles(int *list, size_t count, int *seen, int stamp)
{
    int kept = 0;
    for (size_t i = 0; i < count; i++)
        if (seen[list[i]] != stamp) {
            seen[list[i]] = stamp;
            list[kept++] = list[i];
        }
    return kept;
}

static void list_pairs(net_graph *graph, const rl_net *net, size_t *filled)
{
    for (int f = 0; f < net->factors; f++) {
        const rl_table *table = &net->factor[f];
        for (int i = 0; i < table->count; i++)
            for (int j = 0; j < table->count; j++)
                if (i != j)
                    graph->neighbour[filled[table->variable[i]]++] = table->variable[j];
    }
}

static net_graph graph_make(rl_arena *arena, const rl_net *net)
{
    int n = net->variables;
    net_graph graph = {.variables = n, .start = rl_many(arena, n + 1, size_t), .degree = rl_many(arena, n, int)};
    for (int f = 0; f < net->factors; f++)
        for (int i = 0; i < net->factor[f].count; i++)
            graph.start[net->factor[f].variable[i] + 1] += (size_t)net->factor[f].count - 1;
    for (int v = 0; v < n; v++)
        graph.start[v + 1] += graph.start[v];
    graph.neighbour = rl_many(arena, graph.start[n], int);
    size_t *filled = rl_many(arena, n, size_t);
    if (n > 0)
        memcpy(filled, graph.start, (size_t)n * sizeof *filled);
    list_pairs(&graph, net, filled);
    int *seen = rl_many(arena, n, int);
    for (int v = 0; v < n; v++)
        graph.degree[v] = without_doubles(graph.neighbour + graph.start[v],
                                          graph.start[v + 1] - graph.start[v], seen, v + 1);
    return graph;
}

/* Removes leaves until none is left; returns how many, in `order`.  `gone` is by variable. */
static int strip_leaves(rl_arena *arena, const net_graph *graph, int *order, bool *gone)
{
    int n = graph->variables, queued = 0;
    int *degree = rl_many(arena, n, int);
    for (int v = 0; v < n; v++) {
        degree[v] = graph->degree[v];
        if (degree[v] <= 1) {
            order[queued++] = v;
            gone[v] = true;
        }
    }
    /* `gone` is set when queued; a neighbour queued meanwhile needs no more. */
    for (int next = 0; next < queued; next++) {
        assert(queued <= n);
        int v = order[next];
        const int *neighbour = graph->neighbour + graph->start[v];
        for (int i = 0; i < graph->degree[v]; i++) {
            int u = neighbour[i];
            if (!gone[u] && --degree[u] <= 1) {
                order[queued++] = u;
                gone[u] = true;
            }
        }
    }
    return queued;
}

/* ---- the core ---- */

enum rule { BY_MESSAGE, BY_FILL };
enum { MOST_TRIES = 100 };
/* Tries that would pass this much work are given up: about a tenth of a second. */
static const double MOST_WORK = 3e7;
/* Work may come to a part of the best order's cells. */
static const double WORTH = 20;

typedef struct core_graph {
    int count, words;
    double *size;
    uint64_t *touches;      /* as the net has it; row v is words long */
    uint64_t *now;          /* as it is during a try */
    uint64_t *reach;        /* whose costs are to be found again */
    double *cells;          /* of the bucket that a variable would make now */
    double *fill;           /* its neighbours that do not touch each other, weighed by their sizes; of BY_FILL */
    double *first_cells, *first_fill;   /* the same as the net has it */
    int *alive;
    double *cost;           /* as `alive` */
    int *at;                /* where a variable stands in these */
    int *order, *best;
    enum rule rule;
    double noise;           /* how much costs are disturbed */
    uint64_t chance;
    double work;            /* words looked at, over all tries */
} core_graph;

static inline uint64_t *row(const core_graph *core, int v)
{
    return core->now + (size_t)v * (size_t)core->words;
}

static inline int lowest(uint64_t word)
{
    return __builtin_ctzll(word);
}

/* The sizes of a set of variables, added up. */
static inline double sizes_in(const core_graph *core, uint64_t word, int w)
{
    double sum = 0;
    for (; word != 0; word &= word - 1)
        sum += core->size[64 * w + lowest(word)];
    return sum;
}

static double cells_with(const core_graph *core, int v)
{
    const uint64_t *near = row(core, v);
    double cells = core->size[v];
    for (int w = 0; w < core->words; w++)
        for (uint64_t word = near[w]; word != 0; word &= word - 1)
            cells *= core->size[64 * w + lowest(word)];
    return cells;
}

static double fill_of(core_graph *core, int v)
{
    const uint64_t *near = row(core, v);
    double fill = 0;
    for (int w = 0; w < core->words; w++)
        for (uint64_t word = near[w]; word != 0; word &= word - 1) {
            int a = 64 * w + lowest(word);
            const uint64_t *other = row(core, a);
            /* each pair once */
            double missing = sizes_in(core, near[w] & ~other[w] & (~(uint64_t)0 << (a % 64) << 1), w);
            for (int x = w + 1; x < core->words; x++)
                missing += sizes_in(core, near[x] & ~other[x], x);
            fill += missing * core->size[a];
            core->work += core->words - w;
        }
    return fill;
}

/* A repeatable number in [0, 1). */
static double drawn(core_graph *core)
{
    core->chance ^= core->chance << 13;
    core->chance ^= core->chance >> 7;
    core->chance ^= core->chance << 17;
    return (double)(core->chance >> 11) * 0x1p-53;
}

static double cost_of(core_graph *core, int v)
{
    double cells = core->cells[v] < RL_MOST_CELLS ? core->cells[v] : RL_MOST_CELLS;
    if (core->rule == BY_FILL)
        cells = core->fill[v] + cells / RL_MOST_CELLS;
    double cost = cells / core->size[v];
    return core->noise > 0 ? cost * (1 + core->noise * drawn(core)) : cost;
}

static inline void set_bit(uint64_t *set, int v)
{
    set[v / 64] |= (uint64_t)1 << (v % 64);
}

static inline void clear_bit(uint64_t *set, int v)
{
    set[v / 64] &= ~((uint64_t)1 << (v % 64));
}

/* a and b are to touch: for who touches both a pair less is missing, for them pairs more. */
static void join_pair(core_graph *core, int a, int b)
{
    uint64_t *near_a = row(core, a), *near_b = row(core, b);
    double of_a = core->size[a], of_b = core->size[b], apart_a = 0, apart_b = 0;
    core->cells[a] *= of_b;
    core->cells[b] *= of_a;
    for (int w = 0; w < core->words && core->rule == BY_FILL; w++) {
        uint64_t both = near_a[w] & near_b[w];
        apart_a += sizes_in(core, near_a[w] & ~both, w);
        apart_b += sizes_in(core, near_b[w] & ~both, w);
        core->reach[w] |= both;
        for (; both != 0; both &= both - 1)
            core->fill[64 * w + lowest(both)] -= of_a * of_b;
    }
    core->fill[a] += of_b * apart_a;
    core->fill[b] += of_a * apart_b;
    set_bit(near_a, b);
    set_bit(near_b, a);
    core->work += 2 * core->words;
}

/* A neighbour u of v loses v, and so what v and u's other neighbours missed. */
static void leave(core_graph *core, int v, const uint64_t *near, int u)
{
    uint64_t *other = row(core, u);
    double apart = 0;
    clear_bit(other, v);
    for (int w = 0; w < core->words && core->rule == BY_FILL; w++)
        apart += sizes_in(core, other[w] & ~near[w], w);
    core->fill[u] -= core->size[v] * apart;
    /* sizes are whole numbers: what was multiplied divides out, as long as it was held */
    core->cells[u] = core->cells[u] < RL_MOST_CELLS ? core->cells[u] / core->size[v] : cells_with(core, u);
    core->work += core->words;
}

/* Joins v's neighbours and takes v away; whose costs that changes is left in `reach`. */
static void sum_out(core_graph *core, int v)
{
    const uint64_t *near = row(core, v);
    bool joined = core->rule == BY_FILL && core->fill[v] == 0;
    memcpy(core->reach, near, (size_t)core->words * sizeof *near);
    for (int w = 0; w < core->words; w++)
        for (uint64_t word = near[w]; word != 0; word &= word - 1)
            leave(core, v, near, 64 * w + lowest(word));
    for (int w = 0; w < core->words && !joined; w++)
        for (uint64_t word = near[w]; word != 0; word &= word - 1) {
            int u = 64 * w + lowest(word);
            for (int x = w; x < core->words; x++) {
                uint64_t fresh = near[x] & ~row(core, u)[x];
                if (x == w)
                    fresh &= ~(uint64_t)0 << (u % 64) << 1;
                for (; fresh != 0; fresh &= fresh - 1)
                    join_pair(core, u, 64 * x + lowest(fresh));
            }
        }
}

static int cheapest(const core_graph *core, int alive)
{
    int at = 0;
    double least = core->cost[0];
    for (int i = 1; i < alive; i++)
        if (core->cost[i] < least) {
            least = core->cost[i];
            at = i;
        }
    return at;
}

/* Takes the variable that stands at `at` out of those alive; `alive` are left. */
static int take_out(core_graph *core, int at, int alive)
{
    int v = core->alive[at], last = core->alive[alive];
    core->alive[at] = last;
    core->cost[at] = core->cost[alive];
    core->at[last] = at;
    return v;
}

static void start_try(core_graph *core)
{
    size_t count = (size_t)core->count;
    memcpy(core->now, core->touches, count * (size_t)core->words * sizeof *core->now);
    memcpy(core->cells, core->first_cells, count * sizeof *core->cells);
    memcpy(core->fill, core->first_fill, count * sizeof *core->fill);
    core->work += 2 * core->count;
    for (int v = 0; v < core->count; v++) {
        core->alive[v] = core->at[v] = v;
        core->cost[v] = cost_of(core, v);
    }
}

/* One greedy order; its cells, or -1 once they pass `bound` or the work is too much. */
static double try_order(core_graph *core, double bound)
{
    double cells = 0;
    start_try(core);
    for (int alive = core->count; alive > 0;) {
        int at = cheapest(core, alive);
        core->work += alive;
        int v = take_out(core, at, --alive);
        cells += core->cells[v];
        if ((cells >= bound && bound < RL_MOST_CELLS) || (core->rule == BY_FILL && core->work > MOST_WORK))
            return -1;
        core->order[core->count - 1 - alive] = v;
        sum_out(core, v);
        assert((core->reach[v / 64] >> (v % 64) & 1) == 0);
        for (int w = 0; w < core->words; w++)
            for (uint64_t word = core->reach[w]; word != 0; word &= word - 1) {
                int u = 64 * w + lowest(word);
                core->cost[core->at[u]] = cost_of(core, u);
            }
    }
    return cells < RL_MOST_CELLS ? cells : RL_MOST_CELLS;
}

/* A try must cost little beside the tables of the best order so far, of which
 * each cell is met several times in one inference alone.  Measured on nets of
 * variables of 2 to 11 values: fill over the variable's own size is the best single rule
 * by far; disturbed, it and the message's cells take turns.  On wide nets the
 * luck of disturbed fill varies by powers of ten; where fill is too dear to find,
 * the order by messages comes to its end. */
static void order_core(core_graph *core)
{
    double best = RL_MOST_CELLS;
    bool found = false;
    for (int try = 0; !found || (try < MOST_TRIES && WORTH * core->work < best && core->work < MOST_WORK); try++) {
        core->rule = try % 2 == 0 ? BY_FILL : BY_MESSAGE;
        core->noise = try == 0 ? 0 : 0.3 + 0.5 * (try % 4);
        double cells = try_order(core, best);
        if (cells >= 0 && (!found || cells < best)) {
            int *swap = core->best;
            core->best = core->order;
            core->order = swap;
            best = cells;
            found = true;
        }
    }
}

static void mark_edges(core_graph *core, const net_graph *graph, const int *variable, const int *number)
{
    for (int i = 0; i < core->count; i++) {
        const int *neighbour = graph->neighbour + graph->start[variable[i]];
        uint64_t *set = core->touches + (size_t)i * (size_t)core->words;
        for (int j = 0; j < graph->degree[variable[i]]; j++) {
            int u = number[neighbour[j]];
            if (u >= 0)
                set[u / 64] |= (uint64_t)1 << (u % 64);
        }
    }
}

/* Cells and fill of each variable as the net has it. */
static void look_at_all(core_graph *core)
{
    memcpy(core->now, core->touches, (size_t)core->count * (size_t)core->words * sizeof *core->now);
    for (int v = 0; v < core->count; v++) {
        core->first_cells[v] = cells_with(core, v);
        core->first_fill[v] = fill_of(core, v);
    }
}

/* Orders what strip_leaves left; appends to `order`. */
static void order_rest(rl_arena *arena, const rl_net *net, const net_graph *graph, int *order, int done,
                       const bool *gone)
{
    int n = graph->variables, count = n - done;
    core_graph core = {.count = count, .words = (count + 63) / 64, .chance = 88172645463325252U};
    size_t bits = (size_t)core.words * (size_t)count;
    int *number = rl_many(arena, n, int), *variable = rl_many(arena, count, int);
    core.size = rl_many(arena, count, double);
    core.cost = rl_raw(arena, count, double);
    core.cells = rl_raw(arena, count, double);
    core.fill = rl_raw(arena, count, double);
    core.first_cells = rl_raw(arena, count, double);
    core.first_fill = rl_raw(arena, count, double);
    core.alive = rl_raw(arena, count, int);
    core.at = rl_raw(arena, count, int);
    core.order = rl_raw(arena, count, int);
    core.best = rl_raw(arena, count, int);
    core.touches = rl_many(arena, bits, uint64_t);
    core.now = rl_raw(arena, bits, uint64_t);
    core.reach = rl_raw(arena, core.words, uint64_t);
    int next = 0;
    for (int v = 0; v < n; v++) {
        number[v] = gone[v] ? -1 : next;
        if (!gone[v]) {
            core.size[next] = net->size[v];
            variable[next++] = v;
        }
    }
    assert(next == count);
    mark_edges(&core, graph, variable, number);
    look_at_all(&core);
    order_core(&core);
    for (int i = 0; i < count; i++)
        order[done + i] = variable[core.best[i]];
}

/* ---- buckets ---- */

/* Lists each factor with the first of its variables to go. */
static void assign_factors(rl_plan *plan, const rl_net *net)
{
    for (int k = 0; k < plan->variables; k++)
        plan->first_factor[k] = -1;
    for (int f = net->factors - 1; f >= 0; f--) {
        const rl_table *table = &net->factor[f];
        int first = plan->variables;
        for (int i = 0; i < table->count; i++)
            if (plan->place[table->variable[i]] < first)
                first = plan->place[table->variable[i]];
        if (first == plan->variables)
            continue;
        plan->next_factor[f] = plan->first_factor[first];
        plan->first_factor[first] = f;
    }
}

typedef struct scoping {
    rl_arena *arena;
    int *seen;              /* by place: 1 + the bucket that last met it */
    size_t room;
} scoping;

/* Adds a place to bucket k, keeping the scope in order. */
static void scope_add(rl_plan *plan, scoping *work, int k, int place)
{
    if (work->seen[place] == k + 1)
        return;
    work->seen[place] = k + 1;
    size_t begin = plan->scope_start[k], end = plan->scope_start[k + 1]++;
    for (; end > begin && plan->scope[end - 1] > place; end--)
        plan->scope[end] = plan->scope[end - 1];
    plan->scope[end] = place;
}

static void scope_room(rl_plan *plan, scoping *work, size_t used)
{
    size_t needed = used + (size_t)plan->variables;
    if (needed <= work->room)
        return;
    work->room = 2 * needed;
    int *grown = rl_many(work->arena, work->room, int);
    if (used > 0)
        memcpy(grown, plan->scope, used * sizeof *grown);
    plan->scope = grown;
}

/* The scope of a bucket: its factors', and what its children leave. */
static void scope_bucket(rl_plan *plan, const rl_net *net, scoping *work, int k)
{
    plan->scope_start[k + 1] = plan->scope_start[k];
    scope_room(plan, work, plan->scope_start[k]);
    scope_add(plan, work, k, k);
    for (int f = plan->first_factor[k]; f >= 0; f = plan->next_factor[f])
        for (int i = 0; i < net->factor[f].count; i++)
            scope_add(plan, work, k, plan->place[net->factor[f].variable[i]]);
    for (int c = plan->child[k]; c >= 0; c = plan->sibling[c])
        for (int i = 1; i < rl_scope_count(plan, c); i++)
            scope_add(plan, work, k, rl_scope(plan, c)[i]);
    assert(rl_scope(plan, k)[0] == k);   /* what is summed out before has left */
    plan->parent[k] = rl_scope_count(plan, k) > 1 ? rl_scope(plan, k)[1] : -1;
    if (plan->parent[k] >= 0) {
        plan->sibling[k] = plan->child[plan->parent[k]];
        plan->child[plan->parent[k]] = k;
    }
}

static void make_buckets(rl_arena *arena, rl_plan *plan, const rl_net *net)
{
    int n = plan->variables;
    scoping work = {.arena = arena, .seen = rl_many(arena, n, int)};
    plan->child = rl_arena_raw(arena, (size_t)n * sizeof(int));
    plan->sibling = rl_arena_raw(arena, (size_t)n * sizeof(int));
    for (int k = 0; k < n; k++)
        plan->child[k] = plan->sibling[k] = -1;
    for (int k = 0; k < n; k++) {
        scope_bucket(plan, net, &work, k);
        if ((size_t)rl_scope_count(plan, k) > plan->width)
            plan->width = (size_t)rl_scope_count(plan, k);
    }
}

void rl_order(rl_arena *arena, const rl_net *net, int *order)
{
    int n = net->variables;
    net_graph graph = graph_make(arena, net);
    bool *gone = rl_many(arena, n, bool);
    int done = strip_leaves(arena, &graph, order, gone);
    if (done < n)
        order_rest(arena, net, &graph, order, done, gone);
}

rl_plan *rl_plan_of_order(rl_arena *arena, const rl_net *net, const int *order)
{
    int n = net->variables;
    rl_plan *plan = rl_new(arena, rl_plan);
    plan->variables = n;
    plan->factors = net->factors;
    plan->order = order;
    plan->place = rl_many(arena, n, int);
    plan->size = rl_many(arena, n, int);
    plan->parent = rl_many(arena, n, int);
    plan->scope_start = rl_many(arena, n + 1, size_t);
    plan->first_factor = rl_many(arena, n, int);
    plan->next_factor = rl_many(arena, net->factors, int);
    for (int k = 0; k < n; k++) {
        assert(order[k] >= 0 && order[k] < n);
        plan->place[order[k]] = k;
        plan->size[k] = net->size[order[k]];
    }
    assign_factors(plan, net);
    make_buckets(arena, plan, net);
    return plan;
}

rl_plan *rl_plan_make(rl_arena *arena, const rl_net *net)
{
    int *order = rl_many(arena, net->variables, int);
    rl_order(arena, net, order);
    rl_plan *plan = rl_plan_of_order(arena, net, order);
    rl_program_make(arena, plan, net, NULL);
    return plan;
}

double rl_plan_cells(const rl_plan *plan)
{
    return plan->cells;
}

size_t rl_plan_width(const rl_plan *plan)
{
    return plan->width;
}

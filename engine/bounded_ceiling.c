/* bounded_ceiling.c: an upper bound on the sum of a net within little memory.
 *
 * Variables are eliminated in turn.  Where the product of all tables that have
 * one would be too large, the tables are parted: one part is summed over the
 * variable, the others give their maxima.  Before that, what the other parts'
 * maxima are for each of its values moves into the part that is summed.
 *
 * Invariant: no step lowers the sum that the tables stand for: a product that
 * would underflow is raised to FAINTEST, and only a true 0 is 0.
 */
#include "bounded_box.h"
#include "infer_private.h"

#include <assert.h>
#include <math.h>
#include <string.h>

static const double FAINTEST = 1e-290;
/* What rounding may have taken from the bound, in ln: far more than it does. */
static const double ROUNDING = 1e-9;

/* A table over places, rising; those of one value are left out. */
typedef struct piece {
    int count;
    const int *scope;
    size_t cells;
    double *cell;              /* at most 1 */
    struct piece *next;
} piece;

typedef struct lowering {
    rl_arena *arena;
    const rl_plan *plan;
    int *size;                 /* by place */
    piece **list;              /* by first place */
    size_t most;
    double log_sum;            /* of what has become a number */
    double *steps;
    bool zero;
} lowering;

/* Makes the greatest cell 1 and files the piece under its first place. */
static void file(lowering *l, piece *p)
{
    double greatest = 0;
    for (size_t i = 0; i < p->cells; i++)
        greatest = fmax(greatest, p->cell[i]);
    if (!(greatest > 0)) {
        l->zero = true;
        return;
    }
    l->log_sum += log(greatest);
    for (size_t i = 0; i < p->cells; i++) {
        double cell = p->cell[i] / greatest;
        p->cell[i] = cell < FAINTEST && p->cell[i] > 0 ? FAINTEST : cell;
    }
    if (p->count == 0)
        return;
    /* greatest first, so that the small ones find room beside them */
    piece **at = &l->list[p->scope[0]];
    while (*at && (*at)->cells >= p->cells)
        at = &(*at)->next;
    p->next = *at;
    *at = p;
}

static void take_factor(lowering *l, const rl_table *table)
{
    piece *p = rl_new(l->arena, piece);
    int *scope = rl_many(l->arena, table->count + 1, int);
    p->cells = 1;
    for (int i = 0; i < table->count; i++) {
        int place = l->plan->place[table->variable[i]], at = p->count;
        if (l->size[place] == 1)
            continue;
        for (; at > 0 && scope[at - 1] > place; at--)
            scope[at] = scope[at - 1];
        scope[at] = place;
        p->count++;
        p->cells *= (size_t)l->size[place];
    }
    p->scope = scope;
    p->cell = rl_arena_raw(l->arena, p->cells * sizeof *p->cell);
    rl_gather(p->cell, table, l->size, l->plan->place, NULL);
    file(l, p);
}

/* ---- products ---- */

static inline double times(double a, double b)
{
    double product = a * b;
    return product < FAINTEST && a > 0 && b > 0 ? FAINTEST : product;
}

/* The axes are of a large table on the left and a small one on the right. */
static void times_level(double *big, const double *small, const rl_axis *axis, int rank)
{
    if (rank == 0) {
        *big = times(*big, *small);
        return;
    }
    const rl_axis *outer = &axis[rank - 1];
    for (size_t i = 0; i < outer->count; i++)
        times_level(big + i * outer->left, small + i * outer->right, axis, rank - 1);
}

/* Pieces that are multiplied together. */
typedef struct part {
    int count;
    int *scope;
    size_t cells, rest;        /* rest: cells of one value of the variable */
    piece *member;             /* by `next` */
    double *cell;
    double *greatest;          /* by value of the variable */
    struct part *next;
} part;

/* The union of two scopes; its cells, or 0 if the piece does not fit into the part. */
static size_t unite(const lowering *l, const part *p, const piece *q, int *scope, int *count)
{
    size_t cells = 1;
    *count = 0;
    for (int i = 0, j = 0; i < p->count || j < q->count;) {
        int next = j == q->count || (i < p->count && p->scope[i] <= q->scope[j]) ? p->scope[i] : q->scope[j];
        i += i < p->count && p->scope[i] == next;
        j += j < q->count && q->scope[j] == next;
        scope[(*count)++] = next;
        cells *= (size_t)l->size[next];
        if (cells > l->most && cells > p->cells)
            return 0;
    }
    return cells;
}

static void join(part *to, piece *p)
{
    p->next = to->member;
    to->member = p;
}

/* Puts the piece into the first part that has room for it, or a new one. */
static void place_piece(lowering *l, part **parts, piece *p)
{
    int *scope = rl_many(l->arena, l->plan->variables, int);
    part **at = parts;
    for (; *at; at = &(*at)->next) {
        int count;
        size_t cells = unite(l, *at, p, scope, &count);
        if (cells == 0)
            continue;
        (*at)->scope = scope;
        (*at)->count = count;
        (*at)->cells = cells;
        join(*at, p);
        return;
    }
    memcpy(scope, p->scope, (size_t)p->count * sizeof *scope);
    *at = rl_new(l->arena, part);
    **at = (part){.count = p->count, .scope = scope, .cells = p->cells};
    join(*at, p);
}

static void multiply(lowering *l, part *p)
{
    size_t size = (size_t)l->size[p->scope[0]];
    p->rest = p->cells / size;
    p->cell = rl_arena_raw(l->arena, p->cells * sizeof *p->cell);
    p->greatest = rl_many(l->arena, size, double);
    for (size_t i = 0; i < p->cells; i++)
        p->cell[i] = 1;
    for (const piece *m = p->member; m; m = m->next) {
        rl_axis axes[RL_MOST_AXES];
        const rl_part large = {.count = p->count, .place = p->scope}, small = {.count = m->count, .place = m->scope};
        times_level(p->cell, m->cell, axes, rl_axes_of(l->size, NULL, &large, &large, &small, axes));
        *l->steps += (double)p->cells;
    }
    for (size_t i = 0; i < size; i++)
        for (size_t j = 0; j < p->rest; j++)
            p->greatest[i] = fmax(p->greatest[i], p->cell[i * p->rest + j]);
}

/* ---- eliminating one variable ---- */

/* How many times its greatest cell the part grows by if it is summed. */
static double growth(const part *p, size_t size)
{
    double sum = 0, most = 0;
    for (size_t j = 0; j < p->rest; j++) {
        double column = 0;
        for (size_t i = 0; i < size; i++)
            column += p->cell[i * p->rest + j];
        sum = fmax(sum, column);
    }
    for (size_t i = 0; i < size; i++)
        most = fmax(most, p->greatest[i]);
    return most > 0 ? sum / most : 0;
}

static part *part_to_sum(part *parts, size_t size)
{
    part *best = parts;
    double least = INFINITY;
    for (part *p = parts; parts->next && p; p = p->next) {
        double grows = growth(p, size);
        if (grows < least) {
            least = grows;
            best = p;
        }
    }
    return best;
}

/* Moves the maxima of one part into another. */
static void shift(part *from, part *to, size_t size)
{
    for (size_t i = 0; i < size; i++) {
        double greatest = from->greatest[i];
        for (size_t j = 0; j < to->rest; j++)
            to->cell[i * to->rest + j] = times(to->cell[i * to->rest + j], greatest);
        for (size_t j = 0; j < from->rest && greatest > 0; j++) {
            double *cell = &from->cell[i * from->rest + j];
            *cell = *cell > 0 ? fmax(*cell / greatest, FAINTEST) : 0;
        }
    }
}

static void send(lowering *l, const part *p, size_t size, bool summed)
{
    piece *message = rl_new(l->arena, piece);
    *message = (piece){.count = p->count - 1, .scope = p->scope + 1, .cells = p->rest};
    message->cell = rl_many(l->arena, p->rest, double);
    for (size_t i = 0; i < size; i++)
        for (size_t j = 0; j < p->rest; j++) {
            double cell = p->cell[i * p->rest + j];
            message->cell[j] = summed ? message->cell[j] + cell : fmax(message->cell[j], cell);
        }
    *l->steps += 3 * (double)p->cells;
    file(l, message);
}

static void eliminate(lowering *l, int place)
{
    size_t size = (size_t)l->size[place];
    part *parts = NULL;
    for (piece *p = l->list[place], *next; p; p = next) {
        next = p->next;
        assert(p->scope[0] == place);
        place_piece(l, &parts, p);
    }
    if (!parts) {
        l->log_sum += log((double)size);   /* no factor speaks of it */
        return;
    }
    for (part *p = parts; p; p = p->next)
        multiply(l, p);
    part *summed = part_to_sum(parts, size);
    for (part *p = parts; p; p = p->next)
        if (p != summed)
            shift(p, summed, size);
    for (part *p = parts; p; p = p->next)
        send(l, p, size, p == summed);
}

double rl_ceiling(rl_arena *arena, const rl_net *net, const rl_plan *plan, size_t most, double *steps)
{
    assert(plan->variables == net->variables);
    rl_mark mark = rl_arena_mark(arena);
    lowering l = {.arena = arena, .plan = plan, .most = most, .steps = steps};
    l.size = rl_many(arena, plan->variables + 1, int);
    l.list = rl_many(arena, plan->variables + 1, piece *);
    for (int k = 0; k < plan->variables; k++)
        l.size[k] = net->size[plan->order[k]];
    for (int f = 0; f < net->factors && !l.zero; f++)
        take_factor(&l, &net->factor[f]);
    for (int k = 0; k < plan->variables && !l.zero; k++)
        if (l.size[k] > 1)
            eliminate(&l, k);
    rl_arena_rewind(arena, mark);
    return l.zero ? -INFINITY : l.log_sum + ROUNDING;
}

/* ladder.c: see ladder.h.
 *
 * Two variables of the list are neighbours if a factor has both, or if a way
 * from one to the other leads through variables outside the list alone: the
 * joint of the list is a product over cliques of that graph.  Variables are taken
 * away from the last to the first; that joins a variable's neighbours, and they are its
 * parents.  Where a clique would be too large, small variables of the net (a reading
 * leaves a chain of them) are taken into the list, so that the graph falls apart.
 */
#include "ladder.h"

#include <assert.h>
#include <stdint.h>
#include <string.h>

/* Cells of a ladder that will do; of a joint that is kept; of one law at the most; of all laws. */
enum { GOOD_CELLS = 10000, MOST_SHARED_CELLS = 1 << 16, MOST_LAW_CELLS = 1 << 20, MOST_KEPT_CELLS = 1 << 23 };
/* Cells of laws that are worth a tree of their own; of such a tree at the most, and of those
 * that are kept; of tables that a question to another tree may pass through. */
enum { ASIDE_CELLS = 40000, MOST_ASIDE_CELLS = 1 << 23, MOST_ASIDE_KEPT = 1 << 22, MOST_PASSED_CELLS = 1 << 20 };
/* Values of a small variable, how many are tried, how many are taken into one list; a net in
 * which all variables are tried. */
enum { SMALL = 4, MOST_SMALLS = 64, MOST_PARTED = 6, MOST_SEARCHED = 256 };

/* ---- the net's factors ---- */

static void list_scopes(rl_ladders *l)
{
    const rl_net *net = l->bench->network.net;
    int factors = rl_net_factors(net), room = 0, count;
    for (int f = 0; f < factors; f++) {
        rl_net_scope(net, f, &count);
        room += count;
    }
    l->scope_start = rl_many(l->arena, factors + 1, int);
    l->scope = rl_many(l->arena, room + 1, int);
    for (int f = 0, n = 0; f < factors; f++) {
        const int *scope = rl_net_scope(net, f, &count);
        for (int i = 0; i < count; i++)
            l->scope[n++] = scope[i];
        l->scope_start[f + 1] = n;
    }
}

static void list_factors(rl_ladders *l)
{
    int factors = rl_net_factors(l->bench->network.net), all = l->scope_start[factors];
    l->factor_start = rl_many(l->arena, l->variables + 2, int);
    l->factor = rl_many(l->arena, all + 1, int);
    for (int i = 0; i < all; i++)
        l->factor_start[l->scope[i] + 2]++;   /* moved by one while they are filled */
    for (int v = 0; v < l->variables; v++)
        l->factor_start[v + 2] += l->factor_start[v + 1];
    for (int f = 0; f < factors; f++)
        for (int i = l->scope_start[f]; i < l->scope_start[f + 1]; i++)
            l->factor[l->factor_start[l->scope[i] + 1]++] = f;
}

void rl_ladders_make(rl_ladders *ladders, rl_arena *arena, rl_arena *scratch, const rl_bench *bench, rl_groups *groups)
{
    const rl_net *net = bench->network.net;
    int n = rl_net_variables(net);
    *ladders = (rl_ladders){.arena = arena, .scratch = scratch, .bench = bench, .groups = groups, .variables = n};
    list_scopes(ladders);
    list_factors(ladders);
    ladders->rung = rl_many(arena, n + 1, rl_rung *);
    ladders->small = rl_many(arena, MOST_SMALLS, int);
    for (int v = 0; v < n && ladders->smalls < MOST_SMALLS; v++)
        if (rl_net_size(net, v) <= SMALL)
            ladders->small[ladders->smalls++] = v;
}

/* ---- the graph ---- */

typedef struct web {
    rl_ladders *l;
    const uint32_t *together; /* sets of places in the list */
    int togethers;
    rl_wanted list;
    int *place;               /* by variable of the net: in the list + 1; 0: outside, not met; -1: met */
    int *queue;               /* room for every variable */
    uint32_t near[RL_LADDER_MOST];
    /* the order found: places in the list, and parents as sets of them */
    int order[RL_LADDER_MOST];
    uint32_t parents[RL_LADDER_MOST];
} web;

static void join_all(web *w, uint32_t set)
{
    for (uint32_t rest = set; rest; rest &= rest - 1) {
        int i = __builtin_ctz(rest);
        w->near[i] |= set & ~(1u << i);
    }
}

/* What a factor has of the list; what else it has joins the queue. */
static uint32_t look_at(web *w, int factor, int *queued)
{
    const rl_ladders *l = w->l;
    uint32_t met = 0;
    for (int i = l->scope_start[factor]; i < l->scope_start[factor + 1]; i++) {
        int v = l->scope[i];
        if (w->place[v] > 0) {
            met |= 1u << (w->place[v] - 1);
        } else if (w->place[v] == 0) {
            w->place[v] = -1;
            w->queue[(*queued)++] = v;
        }
    }
    return met;
}

/* What of the list is touched by the outside that hangs together with a factor. */
static uint32_t flood(web *w, int factor)
{
    const rl_ladders *l = w->l;
    int queued = 0;
    uint32_t met = look_at(w, factor, &queued);
    for (int i = 0; i < queued; i++)
        for (int k = l->factor_start[w->queue[i]]; k < l->factor_start[w->queue[i] + 1]; k++)
            met |= look_at(w, l->factor[k], &queued);
    return met;
}

static void set_near(web *w)
{
    const rl_ladders *l = w->l;
    memset(w->place, 0, (size_t)l->variables * sizeof *w->place);
    memset(w->near, 0, sizeof w->near);
    for (int i = 0; i < w->list.count; i++)
        w->place[w->list.variable[i]] = i + 1;
    for (int i = 0; i < w->list.count; i++) {
        int v = w->list.variable[i];
        for (int k = l->factor_start[v]; k < l->factor_start[v + 1]; k++)
            join_all(w, flood(w, l->factor[k]));
    }
    for (int i = 0; i < w->togethers; i++)
        join_all(w, w->together[i]);
}

/* ---- the order ---- */

enum { FREE = -1 };           /* turn of a variable that is in the list for the others' sake */

static double clique_cells(const web *w, int i, uint32_t left)
{
    const rl_net *net = w->l->bench->network.net;
    double cells = rl_net_size(net, w->list.variable[i]);
    for (uint32_t rest = w->near[i] & left; rest; rest &= rest - 1)
        cells *= rl_net_size(net, w->list.variable[__builtin_ctz(rest)]);
    return cells;
}

/* The next to be taken away: one of the last wanted or a free one, whichever is cheapest. */
static int next_away(const web *w, uint32_t left, double *cells)
{
    int latest = 0, best = -1;
    for (uint32_t rest = left; rest; rest &= rest - 1)
        if (w->list.turn[__builtin_ctz(rest)] > latest)
            latest = w->list.turn[__builtin_ctz(rest)];
    for (uint32_t rest = left; rest; rest &= rest - 1) {
        int i = __builtin_ctz(rest), turn = w->list.turn[i];
        if (turn != FREE && turn < latest - 1)
            continue;
        double own = clique_cells(w, i, left);
        if (best < 0 || own < *cells || (own <= *cells && turn > w->list.turn[best])) {
            best = i;
            *cells = own;
        }
    }
    return best;
}

/* Finds the order of the list; returns the cells of all its laws. */
static double find_order(web *w)
{
    uint32_t left = w->list.count == 32 ? UINT32_MAX : (1u << w->list.count) - 1;
    double all = 0;
    set_near(w);
    for (int k = w->list.count; k-- > 0;) {
        double cells = 0;
        int i = next_away(w, left, &cells);
        left &= ~(1u << i);
        all += cells;
        w->order[k] = i;
        w->parents[k] = w->near[i] & left;
        join_all(w, w->parents[k]);
    }
    return all;
}

static bool take_in(web *w, int variable)
{
    for (int i = 0; i < w->list.count; i++)
        if (w->list.variable[i] == variable)
            return false;
    if (w->list.count == RL_LADDER_MOST)
        return false;
    w->list.turn[w->list.count] = FREE;
    w->list.variable[w->list.count++] = variable;
    return true;
}

/* Takes in the variable that helps most, of the small ones or of any; false: none does. */
static bool take_best(web *w, bool any, double *cells)
{
    int best = -1, count = any ? w->l->variables : w->l->smalls;
    for (int i = 0; i < count; i++) {
        int variable = any ? i : w->l->small[i];
        if (!take_in(w, variable))
            continue;
        double with = find_order(w);
        w->list.count--;
        if (with < *cells) {
            *cells = with;
            best = variable;
        }
    }
    return best >= 0 && take_in(w, best);
}

/* Takes further variables in until the graph falls apart well enough, or none helps:
 * those that helped before, then one by one small ones, and any in the last resort. */
static void part(web *w, rl_wanted *parted)
{
    double cells = find_order(w);
    int own = w->list.count;
    if (cells <= GOOD_CELLS)
        return;
    for (int i = 0; i < parted->count; i++)
        take_in(w, parted->variable[i]);
    double with = find_order(w);
    if (with <= GOOD_CELLS)
        return;
    if (with > cells)
        w->list.count = own;
    cells = with < cells ? with : cells;
    for (int more = 0; cells > GOOD_CELLS && more < MOST_PARTED && take_best(w, false, &cells); more++)
        continue;
    bool small_net = w->l->variables <= MOST_SEARCHED;
    for (int more = 0; cells > MOST_LAW_CELLS && small_net && more < MOST_PARTED && take_best(w, true, &cells); more++)
        continue;
    find_order(w);
    parted->count = 0;
    for (int i = own; i < w->list.count; i++)
        parted->variable[parted->count++] = w->list.variable[i];
}

/* ---- laws ---- */

static rl_rung *kept_rung(const rl_ladders *l, int variable, const int *parent, int parents)
{
    for (rl_rung *r = l->rung[variable]; r; r = r->next)
        if (r->parents == parents && memcmp(r->parent, parent, (size_t)parents * sizeof(int)) == 0)
            return r;
    return NULL;
}

/* Fainter than this nothing is known of what it brings about; it could not be divided by. */
static const double FAINTEST = 1e-290;

/* A law of one row, from shares that stand `step` apart. */
static inline void set_law(const double *from, size_t step, size_t size, double *to)
{
    double sum = 0;
    for (size_t v = 0; v < size; v++)
        sum += from[v * step];
    double by = sum > FAINTEST ? 1 / sum : 0;
    for (size_t v = 0; v < size; v++)
        to[v] = from[v * step] * by;
}

/* Cells, from the joint over parents and variable in the net's order. */
static double *law_cells(rl_arena *arena, const rl_rung *r, const double *joint)
{
    enum { OFTEN = 6 };   /* the loops of a size that is known are unrolled */
    double *p = rl_arena_raw(arena, r->cells * sizeof *p), *to = p;
    size_t inner = 1, size = (size_t)r->size;
    for (int i = r->parents; i-- > 0 && r->parent[i] > r->variable;)
        inner *= (size_t)r->parent_size[i];
    for (size_t at = 0; at < r->cells; at += inner * size)
        for (size_t i = 0; i < inner; i++, to += size) {
            if (size == OFTEN)
                set_law(&joint[at + i], inner, OFTEN, to);
            else
                set_law(&joint[at + i], inner, size, to);
        }
    return p;
}

/* A tree made for a ladder, which may serve others. */
typedef struct rl_aside {
    struct rl_aside *next;
    const rl_tree *tree;
} rl_aside;

/* Puts a factor of ones on each two variables of a set. */
static void tie_all(const web *w, rl_net *net, uint32_t set, const double *ones)
{
    for (uint32_t rest = set; rest; rest &= rest - 1)
        for (uint32_t others = rest & (rest - 1); others; others &= others - 1) {
            int pair[2] = {w->list.variable[__builtin_ctz(rest)], w->list.variable[__builtin_ctz(others)]};
            rl_net_factor(net, 2, pair, ones);
        }
}

static const double *ones_for(const web *w, rl_arena *arena)
{
    int most = 1, cells;
    for (int i = 0; i < w->list.count; i++)
        if (rl_net_size(w->l->bench->network.net, w->list.variable[i]) > most)
            most = rl_net_size(w->l->bench->network.net, w->list.variable[i]);
    cells = most * most;
    double *ones = rl_raw(arena, cells, double);
    for (int c = 0; c < cells; c++)
        ones[c] = 1;
    return ones;
}

/* A tree of the same net in which the variables of each law stand together, so that their
 * joints are at hand where the net's own tree has them far apart.  NULL: too large. */
static const rl_tree *tree_aside(const web *w)
{
    rl_ladders *l = w->l;
    rl_net *net = rl_net_copy(l->scratch, l->bench->network.net);
    const double *ones = ones_for(w, l->scratch);
    for (int k = 0; k < w->list.count; k++)
        tie_all(w, net, w->parents[k] | 1u << w->order[k], ones);
    rl_plan *plan = rl_plan_make(l->arena, net);
    double cells = rl_plan_cells(plan);
    if (cells > MOST_ASIDE_CELLS || !rl_group_may_spend_cells(l->groups, cells))
        return NULL;
    bool keep = l->aside_cells + cells <= MOST_ASIDE_KEPT;
    rl_tree *tree = rl_tree_make(keep ? l->arena : l->scratch, net, plan);
    rl_tree_collect(tree);
    rl_tree_distribute(tree);
    if (keep) {
        rl_aside *aside = rl_new(l->arena, rl_aside);
        *aside = (rl_aside){l->aside, tree};
        l->aside = aside;
        l->aside_cells += cells;
    }
    return tree;
}

/* Where joints are asked: of the net's own tree (`aside` NULL) or of one made for it, through
 * tables of no more cells. */
typedef struct source { const rl_tree *aside; double most_cells; } source;

/* The joint of these variables; a large one is not kept, and no other probe is sent to it. */
static const double *joint_of(rl_ladders *l, const source *from, const int *list, int count, double cells)
{
    if (!from->aside && cells <= MOST_SHARED_CELLS)
        return rl_group_joint_within(l->groups, l->bench, l->scratch, list, count, from->most_cells);
    double *joint = rl_arena_raw(l->scratch, (size_t)cells * sizeof *joint);
    bool asked = from->aside ? rl_tree_joint_within(from->aside, l->scratch, from->most_cells, count, list, joint)
                             : rl_group_ask(l->groups, l->bench, l->scratch, from->most_cells, count, list, joint);
    return asked ? joint : NULL;
}

/* The law of a variable given its parents; NULL: too large. */
static const rl_rung *rung_for(rl_ladders *l, const source *from, int variable, const int *parent, int parents)
{
    rl_rung *r = kept_rung(l, variable, parent, parents);
    if (r)
        return r;
    const rl_net *net = l->bench->network.net;
    int list[RL_LADDER_MOST + 1], count = parents;
    rl_rung fresh = {.variable = variable, .size = rl_net_size(net, variable), .parents = parents,
                     .next = l->rung[variable]};
    double cells = fresh.size;
    for (int i = 0; i < parents; i++) {
        list[i] = fresh.parent[i] = parent[i];
        fresh.parent_size[i] = rl_net_size(net, parent[i]);
        cells *= fresh.parent_size[i];
    }
    if (cells > MOST_LAW_CELLS || l->cells + cells > MOST_KEPT_CELLS)
        return NULL;
    count = rl_place_insert(list, count, variable);
    const double *joint = joint_of(l, from, list, count, cells);
    if (!joint)
        return NULL;
    l->cells += cells;
    fresh.cells = (size_t)cells;
    fresh.p = law_cells(l->arena, &fresh, joint);
    r = rl_new(l->arena, rl_rung);
    *r = fresh;
    l->rung[variable] = r;
    return r;
}

static bool make_rungs(rl_ladder *ladder, rl_ladders *l, const web *w, const rl_tree *aside, double most_cells)
{
    source from = {aside, most_cells};
    *ladder = (rl_ladder){.count = w->list.count};
    for (int k = ladder->count; k-- > 0;) {   /* those with most parents first: their joints serve others */
        int list[RL_LADDER_MOST], count = 0;
        for (uint32_t rest = w->parents[k]; rest; rest &= rest - 1)
            count = rl_place_insert(list, count, w->list.variable[__builtin_ctz(rest)]);
        ladder->rung[k] = rung_for(l, &from, w->list.variable[w->order[k]], list, count);
        if (!ladder->rung[k])
            return false;
    }
    return true;
}

/* Whether no law is too large in itself. */
static bool laws_fit(const web *w)
{
    const rl_net *net = w->l->bench->network.net;
    for (int k = 0; k < w->list.count; k++) {
        double cells = rl_net_size(net, w->list.variable[w->order[k]]);
        for (uint32_t rest = w->parents[k]; rest; rest &= rest - 1)
            cells *= rl_net_size(net, w->list.variable[__builtin_ctz(rest)]);
        if (cells > MOST_LAW_CELLS)
            return false;
    }
    return true;
}

/* A ladder that was made, or could not be, and for what. */
typedef struct rl_made {
    struct rl_made *next;
    rl_wanted wanted;
    double most;
    int togethers;
    const uint32_t *together;
    bool good;
    rl_ladder ladder;
} rl_made;

/* What each law hangs on, as a set of places in the list. */
static uint32_t *sets_of(rl_arena *arena, const rl_wanted *wanted, const rl_given *const *together, int togethers)
{
    uint32_t *set = rl_many(arena, togethers, uint32_t);
    for (int i = 0; i < togethers; i++)
        for (int k = 0; k < together[i]->count; k++) {
            int place = 0;
            while (wanted->variable[place] != together[i]->variable[k]) {
                place++;
                assert(place < wanted->count);   /* it is wanted */
            }
            set[i] |= 1u << place;
        }
    return set;
}

static bool same_list(const rl_wanted *a, const rl_wanted *b)
{
    size_t bytes = (size_t)a->count * sizeof(int);
    return a->count == b->count && memcmp(a->variable, b->variable, bytes) == 0 && memcmp(a->turn, b->turn, bytes) == 0;
}

static const rl_made *find_made(const rl_ladders *l, const rl_made *like)
{
    for (const rl_made *m = l->made; m; m = m->next)
        if (m->togethers == like->togethers && m->most <= like->most && m->most >= like->most &&
            same_list(&m->wanted, &like->wanted) &&
            (m->togethers == 0 || memcmp(m->together, like->together, (size_t)m->togethers * sizeof *m->together) == 0))
            return m;
    return NULL;
}

/* By the trees that were made aside, or one more. */
static bool make_aside(rl_ladder *ladder, rl_ladders *l, const web *w)
{
    for (const rl_aside *a = l->aside; a; a = a->next)
        if (make_rungs(ladder, l, w, a->tree, MOST_PASSED_CELLS))
            return true;
    const rl_tree *tree = tree_aside(w);
    return tree && make_rungs(ladder, l, w, tree, RL_GROUP_CELLS);
}

static void make(rl_ladders *l, rl_made *m)
{
    rl_mark mark = rl_arena_mark(l->scratch);
    web w = {.l = l, .list = m->wanted, .together = m->together, .togethers = m->togethers};
    w.place = rl_many(l->scratch, l->variables + 1, int);
    w.queue = rl_many(l->scratch, l->variables + 1, int);
    double cells = 0;
    if (m->most > 0)
        cells = find_order(&w);
    else
        part(&w, &l->parted);
    m->good = cells <= m->most && laws_fit(&w);
    if (m->good)
        m->good = (cells <= ASIDE_CELLS && make_rungs(&m->ladder, l, &w, NULL, MOST_PASSED_CELLS)) || make_aside(&m->ladder, l, &w);
    rl_arena_rewind(l->scratch, mark);
}

static bool take_or_make(rl_ladder *ladder, rl_ladders *l, const rl_made *like)
{
    if (like->wanted.full)
        return false;
    const rl_made *found = find_made(l, like);
    if (!found) {
        rl_made *fresh = rl_new(l->arena, rl_made);
        *fresh = *like;
        make(l, fresh);
        fresh->next = l->made;
        found = l->made = fresh;
    }
    *ladder = found->ladder;
    return found->good;
}

bool rl_ladder_make(rl_ladder *ladder, rl_ladders *ladders, const rl_wanted *wanted, const rl_given *const *together,
                    int togethers)
{
    rl_made like = {.wanted = *wanted, .togethers = togethers};
    if (!wanted->full)
        like.together = sets_of(ladders->arena, wanted, together, togethers);
    return take_or_make(ladder, ladders, &like);
}

bool rl_ladder_lay(rl_ladder *ladder, rl_ladders *ladders, const rl_wanted *wanted, double most_cells)
{
    rl_made like = {.wanted = *wanted, .most = most_cells};
    assert(most_cells > 0);
    return take_or_make(ladder, ladders, &like);
}

void rl_wanted_put(rl_wanted *wanted, int variable, int turn)
{
    for (int i = 0; i < wanted->count; i++)
        if (wanted->variable[i] == variable)
            return;
    wanted->full = wanted->full || wanted->count == RL_LADDER_MOST;
    if (wanted->full)
        return;
    wanted->turn[wanted->count] = turn;
    wanted->variable[wanted->count++] = variable;
}

void rl_wanted_add(rl_wanted *wanted, const rl_given *given, int turn)
{
    for (int k = 0; k < given->count; k++)
        rl_wanted_put(wanted, given->variable[k], turn);
}

int rl_ladder_place(const rl_ladder *ladder, int variable)
{
    for (int i = 0; i < ladder->count; i++)
        if (ladder->rung[i]->variable == variable)
            return i;
    return -1;
}

/* round_plan.c: see round_plan.h.
 *
 * Stops are chosen by gain for each minute, a trip at a time: a single stop,
 * or areas opened for several of them at once.  Then minutes are tried
 * elsewhere: those of an area, or those that show least for a stop that shows most.
 *
 * Invariant: see round_plan.h.
 */
#include "round_plan.h"

#include <assert.h>
#include <math.h>
#include <string.h>

enum { IMPROVEMENTS = 20, WANTED = 12 };

double rl_tour_gain(const rl_tour *p, const rl_tour_stop *c, const double *best)
{
    double gain = 0;
    for (int i = 0; i < c->count; i++) {
        const rl_shown *s = &c->shows[i];
        if (s->by > best[s->fault])
            gain += p->weight[s->fault] * (s->by - best[s->fault]);
    }
    return gain;
}

void rl_tour_show(const rl_tour_stop *c, double *best)
{
    for (int i = 0; i < c->count; i++)
        best[c->shows[i].fault] = fmax(best[c->shows[i].fault], c->shows[i].by);
}

double rl_tour_access(const rl_tour *p, const int areas[2], const bool *open)
{
    double minutes = 0;
    for (int i = 0; i < 2; i++)
        if (areas[i] >= 0 && !open[areas[i]])
            minutes += p->access[areas[i]];
    return minutes;
}

void rl_tour_open(const int areas[2], bool *open)
{
    for (int i = 0; i < 2; i++)
        if (areas[i] >= 0)
            open[areas[i]] = true;
}

static bool is_open(const rl_tour_group *g, const bool *open)
{
    return (g->areas[0] < 0 || open[g->areas[0]]) && (g->areas[1] < 0 || open[g->areas[1]]);
}

static bool is_banned(const rl_tour *p, const rl_tour_group *g)
{
    return p->banned >= 0 && (g->areas[0] == p->banned || g->areas[1] == p->banned);
}

static const rl_tour_group *group_of(const rl_tour *p, int index)
{
    return &p->group[p->at[index].group];
}

/* A plan in the making: what is open, what is shown, what was taken after `from` picks. */
typedef struct trip {
    bool *open;
    double *best;
    int *pick;
    double *gain;
    int picks;
    double minutes, won;       /* of the trip alone */
} trip;

static double rate(const rl_tour *p, double gain, double minutes)
{
    if (!(gain > 0))
        return 0;
    return minutes > 0 ? gain / pow(minutes, p->haste) : p->haste > 0 ? INFINITY : gain;
}

/* The best for its minutes of what the trip has opened; -1: none fits.  What was
 * open before makes trips of its own. */
static int best_at_hand(const rl_tour *p, const trip *t, double minutes, double *gain)
{
    int best = -1;
    double best_rate = 0;
    for (int g = 0; g < p->groups; g++) {
        if (!is_open(&p->group[g], t->open) || is_open(&p->group[g], p->open) || is_banned(p, &p->group[g]))
            continue;
        for (int i = p->group[g].from; i < p->group[g].to; i++) {
            const rl_tour_stop *c = &p->at[i];
            if (c->taken || c->check > minutes)
                continue;
            double now = rl_tour_gain(p, c, t->best), of = rate(p, now, c->check);
            if (now > RL_TOUR_NOTHING && of > best_rate * (1 + RL_TOUR_NOTHING)) {
                best = i;
                best_rate = of;
                *gain = now;
            }
        }
    }
    return best;
}

static void take(rl_tour *p, trip *t, int index, double gain, double minutes)
{
    rl_tour_stop *c = &p->at[index];
    c->taken = true;
    rl_tour_open(group_of(p, index)->areas, t->open);
    rl_tour_show(c, t->best);
    t->pick[t->picks] = index;
    t->gain[t->picks++] = gain;
    t->minutes += minutes;
    t->won += gain;
}

static trip trip_make(const rl_tour *p)
{
    rl_arena *arena = p->scratch;
    trip t = {.open = rl_many(arena, p->areas + 1, bool), .best = rl_many(arena, p->faults + 1, double),
              .pick = rl_many(arena, p->count + 1, int), .gain = rl_many(arena, p->count + 1, double)};
    memcpy(t.open, p->open, (size_t)p->areas * sizeof *t.open);
    memcpy(t.best, p->best, (size_t)p->faults * sizeof *t.best);
    return t;
}

/* Opens what a candidate needs, takes it, and then what is at hand as long as
 * that makes the trip better for its minutes. */
static trip try_trip(rl_tour *p, int index)
{
    trip t = trip_make(p);
    const rl_tour_stop *c = &p->at[index];
    double gain = rl_tour_gain(p, c, t.best), minutes = rl_tour_access(p, group_of(p, index)->areas, t.open) + c->check;
    if (minutes > p->left || gain <= RL_TOUR_NOTHING)
        return t;
    take(p, &t, index, gain, minutes);
    for (int next; (next = best_at_hand(p, &t, p->left - t.minutes, &gain)) >= 0;) {
        double check = p->at[next].check;
        if (rate(p, t.won + gain, t.minutes + check) < rate(p, t.won, t.minutes))
            break;
        take(p, &t, next, gain, check);
    }
    for (int i = 0; i < t.picks; i++)
        p->at[t.pick[i]].taken = false;
    return t;
}

static void commit(rl_tour *p, const trip *t)
{
    for (int i = 0; i < t->picks; i++) {
        rl_tour_stop *c = &p->at[t->pick[i]];
        c->taken = true;
        rl_tour_open(group_of(p, t->pick[i])->areas, p->open);
        rl_tour_show(c, p->best);
        p->pick[p->picks] = t->pick[i];
        p->gain[p->picks++] = t->gain[i];
    }
    p->minutes += t->minutes;
    p->left -= t->minutes;
}

/* Of each group the candidate that shows most for its check, -1: none that fits. */
static void lead_groups(rl_tour *p, int *leader, double *best)
{
    for (int g = 0; g < p->groups; g++) {
        leader[g] = -1;
        best[g] = 0;
        double access = rl_tour_access(p, p->group[g].areas, p->open);
        for (int i = p->group[g].from; i < p->group[g].to && !is_banned(p, &p->group[g]); i++) {
            const rl_tour_stop *c = &p->at[i];
            if (c->taken || access + c->check > p->left)
                continue;
            double now = rate(p, rl_tour_gain(p, c, p->best), c->check);
            if (now > best[g]) {
                best[g] = now;
                leader[g] = i;
            }
        }
    }
}

/* The best trip for its minutes is made, again and again. */
static void choose(rl_tour *p)
{
    int *leader = rl_many(p->arena, p->groups + 1, int);
    double *of_leader = rl_many(p->arena, p->groups + 1, double);
    for (;;) {
        rl_mark before = rl_arena_mark(p->scratch);
        trip best = trip_make(p);
        lead_groups(p, leader, of_leader);
        for (int g = 0; g < p->groups; g++) {
            rl_mark mark = rl_arena_mark(p->scratch);
            trip t = leader[g] < 0 ? best : try_trip(p, leader[g]);
            if (rate(p, t.won, t.minutes) > rate(p, best.won, best.minutes) * (1 + RL_TOUR_NOTHING))
                best = t;
            else
                rl_arena_rewind(p->scratch, mark);
        }
        commit(p, &best);
        rl_arena_rewind(p->scratch, before);
        if (best.picks == 0)
            return;
    }
}

/* ---- what later stops have made needless ---- */

void rl_tour_reset(rl_tour *p)
{
    memset(p->open, 0, (size_t)p->areas * sizeof *p->open);
    memset(p->best, 0, (size_t)p->faults * sizeof *p->best);
    p->left += p->minutes;
    p->minutes = 0;
}

/* Everything anew from the picks but `without` (-1: all): what is open and shown, and the minutes. */
static void replay(rl_tour *p, int without)
{
    rl_tour_reset(p);
    for (int i = 0; i < p->picks; i++) {
        const rl_tour_stop *c = &p->at[p->pick[i]];
        if (i == without)
            continue;
        p->minutes += rl_tour_access(p, group_of(p, p->pick[i])->areas, p->open) + c->check;
        p->gain[i] = rl_tour_gain(p, c, p->best);
        rl_tour_open(group_of(p, p->pick[i])->areas, p->open);
        rl_tour_show(c, p->best);
    }
    p->left -= p->minutes;
}

double rl_tour_covered(const rl_tour *p)
{
    double sum = 0;
    for (int f = 0; f < p->faults; f++)
        sum += p->weight[f] * p->best[f];
    return sum;
}

/* Drops picks that show nothing beside the others; true if there was one. */
static bool prune(rl_tour *p)
{
    bool any = false;
    double whole = rl_tour_covered(p);
    for (int i = p->picks; i-- > 0;) {
        replay(p, i);
        if (rl_tour_covered(p) < whole - RL_TOUR_NOTHING)
            continue;
        p->at[p->pick[i]].taken = false;
        memmove(&p->pick[i], &p->pick[i + 1], (size_t)(p->picks - i - 1) * sizeof *p->pick);
        p->picks--;
        any = true;
    }
    replay(p, -1);
    return any;
}

/* ---- the best of a few plans ---- */

/* Picks of a plan that may be gone back to. */
typedef struct kept { int *pick, picks; double covered; } kept;

static kept keep(const rl_tour *p)
{
    kept k = {rl_many(p->arena, p->count + 1, int), p->picks, rl_tour_covered(p)};
    memcpy(k.pick, p->pick, (size_t)p->picks * sizeof *k.pick);
    return k;
}

/* Back to the picks of a plan, all but those that need area `without` (-1: all). */
static void restore(rl_tour *p, const kept *k, int without)
{
    for (int i = 0; i < p->count; i++)
        p->at[i].taken = false;
    p->picks = 0;
    for (int i = 0; i < k->picks; i++) {
        const rl_tour_group *g = group_of(p, k->pick[i]);
        if (without >= 0 && (g->areas[0] == without || g->areas[1] == without))
            continue;
        p->at[k->pick[i]].taken = true;
        p->pick[p->picks++] = k->pick[i];
    }
    replay(p, -1);
}

/* The best that can be made of the picks at hand. */
static void fill(rl_tour *p)
{
    do
        choose(p);
    while (prune(p));
}

/* Hasty plans take what shows most for its minutes, the others what shows most at
 * all: which is better depends on what is left over in the end. */
static const double HASTE[] = {1, 0.75, 0.5, 0.25, 0};
enum { HASTES = sizeof HASTE / sizeof *HASTE };

/* Tries each area's minutes elsewhere; true if that was better. */
static bool improve(rl_tour *p, kept *best)
{
    for (int area = 0; area < p->areas; area++)
        for (int h = 0; h < HASTES; h += HASTES - 1) {
            restore(p, best, -1);
            if (!p->open[area])
                break;
            restore(p, best, area);
            p->haste = HASTE[h];
            p->banned = area;
            fill(p);
            p->banned = -1;
            fill(p);
            if (rl_tour_covered(p) > best->covered + RL_TOUR_NOTHING) {
                *best = keep(p);
                return true;
            }
        }
    return false;
}

/* Takes the pick out whose minutes show least. */
static void drop_least(rl_tour *p)
{
    int least = -1;
    double lowest = INFINITY, whole, minutes;
    replay(p, -1);
    whole = rl_tour_covered(p);
    minutes = p->minutes;
    for (int i = 0; i < p->picks; i++) {
        replay(p, i);
        double saved = minutes - p->minutes, of = saved > 0 ? (whole - rl_tour_covered(p)) / saved : INFINITY;
        if (least < 0 || of < lowest) {
            least = i;
            lowest = of;
        }
    }
    p->at[p->pick[least]].taken = false;
    memmove(&p->pick[least], &p->pick[least + 1], (size_t)(p->picks - least - 1) * sizeof *p->pick);
    p->picks--;
    replay(p, -1);
}

/* The plan with a candidate in it for what shows least; true if that was better. */
static bool force(rl_tour *p, kept *best, int index)
{
    const rl_tour_group *g = group_of(p, index);
    double check = p->at[index].check;
    restore(p, best, -1);
    while (p->picks > 0 && rl_tour_access(p, g->areas, p->open) + check > p->left)
        drop_least(p);
    if (rl_tour_access(p, g->areas, p->open) + check > p->left)
        return false;
    p->at[index].taken = true;
    p->pick[p->picks++] = index;
    replay(p, -1);
    fill(p);
    if (rl_tour_covered(p) <= best->covered + RL_TOUR_NOTHING)
        return false;
    *best = keep(p);
    return true;
}

/* Of each group the candidate that shows most beside the plan; the `most` best of
 * these, best first, in `list`. */
static int list_wanted(rl_tour *p, const kept *best, int most, int *list)
{
    double *gain = rl_many(p->arena, most + 1, double);
    int count = 0;
    restore(p, best, -1);
    for (int g = 0; g < p->groups; g++) {
        int leader = -1;
        double of_leader = RL_TOUR_NOTHING;
        for (int i = p->group[g].from; i < p->group[g].to; i++) {
            double now = p->at[i].taken ? 0 : rl_tour_gain(p, &p->at[i], p->best);
            leader = now > of_leader ? i : leader;
            of_leader = fmax(of_leader, now);
        }
        if (leader < 0 || (count == most && gain[count - 1] >= of_leader))
            continue;
        int at = count < most ? count++ : count - 1;
        for (; at > 0 && gain[at - 1] < of_leader; at--) {
            gain[at] = gain[at - 1];
            list[at] = list[at - 1];
        }
        gain[at] = of_leader;
        list[at] = leader;
    }
    return count;
}

/* Tries what shows most of what the plan does not have. */
static bool exchange(rl_tour *p, kept *best)
{
    int list[WANTED];
    int count = list_wanted(p, best, WANTED, list);
    for (int i = 0; i < count; i++)
        for (int h = 0; h < HASTES; h += HASTES - 1) {
            p->haste = HASTE[h];
            if (force(p, best, list[i]))
                return true;
        }
    return false;
}

static void make_groups(rl_tour *p)
{
    p->group = rl_many(p->arena, p->count + 1, rl_tour_group);
    for (int i = 0; i < p->count; i++) {
        const int *areas = p->at[i].areas, *before = i > 0 ? p->at[i - 1].areas : NULL;
        if (!before || before[0] != areas[0] || before[1] != areas[1])
            p->group[p->groups++] = (rl_tour_group){i, i, {areas[0], areas[1]}};
        p->at[i].group = p->groups - 1;
        p->group[p->groups - 1].to = i + 1;
    }
}

void rl_tour_plan(rl_tour *p, double minutes)
{
    make_groups(p);
    p->open = rl_many(p->arena, p->areas + 1, bool);
    p->best = rl_many(p->arena, p->faults + 1, double);
    p->pick = rl_many(p->arena, p->count + 1, int);
    p->gain = rl_many(p->arena, p->count + 1, double);
    p->left = minutes;
    p->banned = -1;
    const kept nothing = keep(p);
    kept best = nothing;
    for (int h = 0; h < HASTES; h++) {
        restore(p, &nothing, -1);
        p->haste = HASTE[h];
        fill(p);
        if (rl_tour_covered(p) > best.covered + RL_TOUR_NOTHING)
            best = keep(p);
    }
    for (int i = 0; i < IMPROVEMENTS && (exchange(p, &best) || improve(p, &best)); i++)
        ;
    restore(p, &best, -1);
    assert(p->minutes <= minutes + 1e-9);
}

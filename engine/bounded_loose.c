/* bounded_loose.c: the answer of a case of many occasions (design §4).
 *
 * Invariant: see bounded_loose.h.  The amount of work is counted, not timed: the same case
 * gives the same answer everywhere.
 */
#include "bounded_loose.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* Cells met before the rest is left: a few seconds. */
static const double MOST_STEPS = 3e9;
/* What an elimination costs, in steps for each cell: two passes and the shares. */
static const double PASSES = 12;
/* What a network costs for each expression, whatever its tables, and what it costs with all its answers. */
static const double NETWORK = 500, ANSWERS = 2500;
/* What it costs to compare two sets. */
static const double COMPARISON = 200;
/* What is left in sets may be so little: no more is looked for. */
static const double ENOUGH = 1e-5;
/* Sets this far below what was found, in ln, are of no account. */
static const double NO_ACCOUNT = 40;
/* A set with a bound so far below what was found, in ln, is not looked at, one that costs much if so far, and with
 * such a bound nothing that grows from it; one that may have more than that matters. */
static const double ENOUGH_ALONE = 16, ENOUGH_DEAR = 10, ENOUGH_ALL = 20, MATTERS = 12;
/* Above all bounds that are not infinite. */
static const double LIKELIEST = 1e9;
/* Cells of a tree of which there may be many. */
static const double MANY_CELLS = 4e5;
enum { MOST_TRIES = 80, MOST_SETS = 1000, SUM_EVERY = 8 };

/* A set that is not looked at yet, with all that grow from it: one more of the rest is active. */
typedef struct sprout {
    rl_rank rank;               /* first: what waits in the heap */
    double bound;               /* ln of at most what is in it, and in all that grow from it */
    const rl_loose_set *from;
    int place;
} sprout;

/* ---- sums ---- */

static double log_add(double a, double b)
{
    double most = fmax(a, b);
    return isinf(most) ? most : most + log(exp(a - most) + exp(b - most));
}

/* ln of what was found. */
static double found(const rl_loose *l)
{
    return l->total > 0 ? l->log_unit + log(l->total) : -INFINITY;
}

/* ---- the bench of a set ---- */

/* P(active in these of the occasions that are heard, and no others | loose) */
static double pattern_share(const rl_loose *l, int element, rl_mask active)
{
    double p = 1, quiet = l->bench->frame.model->node[element].quiet;
    for (rl_mask bit = 1; bit <= l->heard[element]; bit <<= 1)
        if (l->heard[element] & bit)
            p *= active & bit ? 1 - quiet : quiet;
    return p;
}

/* Leaves of the weights of the states what goes with the looseness. */
static void weigh_state(const rl_loose *l, int element, int looseness, rl_mask chosen, double state[RL_STATES])
{
    if (looseness == RL_NOT_ACTIVE)
        state[RL_LOOSE] *= pattern_share(l, element, 0);
    else if (looseness == RL_ACTIVE_THEN)
        state[RL_LOOSE] *= pattern_share(l, element, chosen);
    for (int s = 0; looseness >= RL_ACTIVE && s < RL_STATES; s++)
        state[s] = s == RL_LOOSE ? state[s] : 0;
}

/* Planned, without a tree; RL_WIDE: it would pass `most` cells.  `chosen`: when the element that is active
 * at chosen times is, if there is one. */
static rl_status make_bench(rl_loose *l, const unsigned char *looseness, rl_mask chosen, rl_bench *out)
{
    int nodes = l->bench->frame.model->nodes;
    double(*state)[RL_STATES] = rl_arena_array(l->arena, (size_t)nodes, sizeof *state);
    memcpy(state, l->bench->draft.state, (size_t)nodes * sizeof *state);
    for (int e = 0; e < nodes; e++)
        weigh_state(l, e, looseness[e], chosen, state[e]);
    l->steps += NETWORK * l->bench->exprs.count;
    return rl_bench_part(out, l->arena, l->bench, looseness, state, chosen, l->most);
}

static bool fits(rl_loose *l, const unsigned char *looseness)
{
    rl_mark mark = rl_arena_mark(l->arena);
    rl_bench bench;
    rl_status status = make_bench(l, looseness, 0, &bench);
    rl_arena_rewind(l->arena, mark);
    return status != RL_WIDE;
}

/* ---- which elements are free ---- */

static void set_all(unsigned char *looseness, const int *element, int count, rl_looseness to)
{
    for (int i = 0; i < count; i++)
        looseness[element[i]] = (unsigned char)to;
}

/* Frees as many of the elements as fit, the first before the last. */
static void free_some(rl_loose *l, unsigned char *looseness, const int *element, int count, int *tries)
{
    if (count == 0 || --*tries < 0)
        return;
    set_all(looseness, element, count, RL_FREE);
    if (fits(l, looseness))
        return;
    set_all(looseness, element, count, RL_NOT_ACTIVE);
    if (count == 1)
        return;
    free_some(l, looseness, element, count / 2, tries);
    free_some(l, looseness, element + count / 2, count - count / 2, tries);
}

enum { WIRES, HELPING, ALL };

/* The wire of a load that operates no relay: what it does is seen in that load alone. */
static bool is_apart(const rl_model *model, int element)
{
    bool apart = model->node[element].info.sort == RL_WIRE;
    for (int e = 0; apart && e < model->nodes; e++)
        if (model->node[e].info.sort == RL_FEED && model->node[e].coil >= 0)
            apart = model->node[model->node[e].coil].info.wire != element;
    return apart;
}

/* Elements that may be loose, as they are now, by falling ratio.  WIRES: those that are apart; HELPING: others, which
 * being active may make something likelier. */
static int list_by_ratio(const rl_loose *l, const unsigned char *looseness, rl_looseness now, int which, int *list)
{
    const rl_model *model = l->bench->frame.model;
    int count = 0;
    for (int e = 0; e < model->nodes; e++) {
        bool wire = is_apart(model, e);
        if (!(l->ratio[e] > 0) || looseness[e] != now || (which == WIRES && !wire) ||
            (which == HELPING && (wire || !l->helps[e])))
            continue;
        int at = count++;
        for (; at > 0 && l->ratio[list[at - 1]] < l->ratio[e]; at--)
            list[at] = list[at - 1];
        list[at] = e;
    }
    return count;
}

/* Elements that were free are not active any more, the least ratios first, until the set fits. */
static bool narrow(rl_loose *l, unsigned char *looseness)
{
    int nodes = l->bench->frame.model->nodes, *list = rl_many(l->arena, nodes + 1, int);
    for (int which = HELPING; which >= WIRES; which--) {
        int count = list_by_ratio(l, looseness, RL_FREE, which, list), kept = count;
        while (!fits(l, looseness)) {
            if (kept == 0)
                break;
            int less = kept < 4 ? kept - 1 : kept - (kept + 2) / 3;
            set_all(looseness, list + less, kept - less, RL_NOT_ACTIVE);
            kept = less;
        }
        if (kept > 0 || fits(l, looseness))
            return true;
    }
    return false;
}

/* ---- looking at one set ---- */

/* The factor that a sum has in the unit of the sums. */
static double unit_weight(rl_loose *l, double log_sum)
{
    if (log_sum > l->log_unit) {
        double scale = exp(l->log_unit - log_sum);
        l->log_unit = log_sum;
        l->total *= scale;
        for (int e = 0; e < l->bench->frame.model->nodes; e++)
            for (int s = 0; s < RL_STATES; s++)
                l->state[e][s] *= scale;
        for (int g = 0; g < 4; g++)
            l->share[g] *= scale;
    }
    return exp(log_sum - l->log_unit);
}

static void add_answers(rl_loose *l, const rl_bench *bench, const rl_belief *belief, const double sound[4])
{
    double weight = unit_weight(l, bench->log_evidence);
    l->total += weight;
    for (int e = 0; e < bench->frame.model->nodes; e++)
        for (int s = 0; s < RL_STATES; s++)
            l->state[e][s] += weight * belief[e].p[s];
    for (int g = 0; g < 4; g++)
        l->share[g] += weight * sound[g];
}

static void set_touched(rl_loose *l, const rl_bench *bench)
{
    for (int e = 0; e < bench->frame.model->nodes; e++)
        l->touched[e] = bench->draft.inspected[e] || rl_bench_base(bench, e) >= 0;
}

/* What the parts of a set come to together. */
typedef struct gathered {
    double log_unit, total;     /* in units of the exponential of the first */
    double log_skipped;         /* of those of no account */
    rl_belief *belief;          /* of the others, weighed */
} gathered;

static void gather(gathered *g, int nodes, double log_sum, const rl_belief *belief)
{
    double scale = log_sum > g->log_unit ? exp(g->log_unit - log_sum) : 1;
    g->log_unit = fmax(g->log_unit, log_sum);
    double weight = exp(log_sum - g->log_unit);
    g->total = g->total * scale + weight;
    for (int e = 0; e < nodes; e++)
        for (int s = 0; s < RL_STATES; s++)
            g->belief[e].p[s] = g->belief[e].p[s] * scale + weight * belief[e].p[s];
}

/* Works out a bench that was planned.  What is of no account is not asked for its answers. */
static rl_status sum_up(rl_loose *l, rl_bench *bench, gathered *g)
{
    double cells = rl_plan_cells(bench->plan), sound[4];
    l->steps += PASSES * cells;
    l->cells = fmax(l->cells, cells);
    l->width = rl_plan_width(bench->plan) > l->width ? rl_plan_width(bench->plan) : l->width;
    bench->tree = rl_tree_make(l->arena, bench->network.net, bench->plan);
    rl_status status = rl_bench_collect(bench);
    if (status != RL_OK)
        return status;
    if (bench->log_evidence < found(l) - NO_ACCOUNT) {
        g->log_skipped = log_add(g->log_skipped, bench->log_evidence);
        return RL_OK;
    }
    l->steps += ANSWERS * l->bench->exprs.count;
    rl_belief *belief = rl_many(l->arena, bench->frame.model->nodes, rl_belief);
    rl_tree_distribute(bench->tree);
    rl_bench_beliefs(bench, l->arena, belief);
    status = rl_bench_all_sound(bench, l->arena, sound);
    if (status != RL_OK)
        return status;
    gather(g, bench->frame.model->nodes, bench->log_evidence, belief);
    add_answers(l, bench, belief, sound);
    return RL_OK;
}

/* One part of a set, or all of it. */
static rl_status look_when(rl_loose *l, const rl_loose_set *set, rl_mask chosen, gathered *g)
{
    rl_mark mark = rl_arena_mark(l->arena);
    rl_bench bench;
    rl_status status = make_bench(l, set->looseness, chosen, &bench);
    if (set->count == 0 && status != RL_WIDE)
        set_touched(l, &bench);
    if (status == RL_OK)
        status = sum_up(l, &bench, g);
    rl_arena_rewind(l->arena, mark);
    return status == RL_CONTRADICTION ? RL_OK : status;
}

/* Fills the set's sum and ratios. */
static void conclude(rl_loose *l, rl_loose_set *set, gathered *g)
{
    double log_found = g->total > 0 ? g->log_unit + log(g->total) : -INFINITY;
    set->log_sum = log_add(log_found, g->log_skipped);
    l->passed = log_add(l->passed, g->log_skipped);
    for (int e = 0; g->total > 0 && e < l->bench->frame.model->nodes; e++)
        for (int s = 0; s < RL_STATES; s++)
            g->belief[e].p[s] /= g->total;
    double unknown = g->total > 0 ? exp(g->log_skipped - set->log_sum) : 1;
    rl_loose_set_ratios(l, set, g->belief, unknown);
}

/* Sums the set up.  RL_WIDE: it cannot be. */
static rl_status look(rl_loose *l, rl_loose_set *set)
{
    gathered g = {.log_unit = -INFINITY, .log_skipped = -INFINITY};
    g.belief = rl_many(l->arena, l->bench->frame.model->nodes, rl_belief);
    rl_status status = RL_OK;
    rl_mask all = set->apart < 0 ? 0 : l->heard[set->apart];
    if (all == 0)
        status = look_when(l, set, 0, &g);
    for (rl_mask chosen = all; chosen && status == RL_OK; chosen = (chosen - 1) & all)
        status = look_when(l, set, chosen, &g);
    if (status == RL_OK)
        conclude(l, set, &g);
    return status;
}

/* ---- sets ---- */

/* The same where one element's activities are looked at one by one. */
static bool narrow_apart(rl_loose *l, rl_loose_set *set)
{
    double most = l->most;
    l->most = fmin(most, MOST_STEPS / (4 * PASSES * rl_frame_patterns(l->heard[set->apart])));
    bool fitted = narrow(l, set->looseness);
    l->most = most;
    return fitted;
}

/* Narrows a set in which `element` is active and was not in `from`, if need be apart. */
static bool fit_in(rl_loose *l, rl_loose_set *set, const rl_loose_set *from, int element)
{
    if (set->apart >= 0)
        return narrow_apart(l, set);
    if (narrow(l, set->looseness))
        return true;
    memcpy(set->looseness, from->looseness, (size_t)l->bench->frame.model->nodes);
    set->looseness[element] = RL_ACTIVE_THEN;
    set->apart = element;
    return narrow_apart(l, set);
}

/* The set with one more of the rest active; `fitting`: narrowed to fit, or NULL. */
static rl_loose_set *new_set(rl_loose *l, const rl_loose_set *from, int place, bool fitting)
{
    int nodes = l->bench->frame.model->nodes, element = from->rest[place];
    rl_loose_set *set = rl_new(l->arena, rl_loose_set);
    set->looseness = rl_many(l->arena, nodes, unsigned char);
    memcpy(set->looseness, from->looseness, (size_t)nodes);
    set->looseness[element] = RL_ACTIVE;
    set->count = from->count + 1;
    set->apart = from->apart;
    if (fitting && !fit_in(l, set, from, element))
        return NULL;
    set->rest = rl_many(l->arena, nodes, int);
    for (int i = place + 1; i < from->rests; i++)
        set->rest[set->rests++] = from->rest[i];
    for (int e = 0; e < nodes; e++)
        if (from->looseness[e] == RL_FREE && set->looseness[e] == RL_NOT_ACTIVE)
            set->rest[set->rests++] = e;
    return set;
}

/* Room for the ratios of the rest; and what it multiplies from each place on: each element by itself, or all that
 * help by the growth of everything. */
static void set_beyond(rl_loose *l, rl_loose_set *set)
{
    double by_ratio = 0, helping = 0, others = 0;
    set->ratio = rl_many(l->arena, set->rests + 1, double);
    set->beyond = rl_many(l->arena, set->rests + 1, double);
    for (int i = set->rests; i-- > 0;) {
        int e = set->rest[i];
        by_ratio += log1p(l->ratio[e]);
        helping += l->helps[e] ? log1p(l->odds[e]) : 0;
        others += l->helps[e] ? 0 : log1p(l->odds[e]);
        double together = helping > 0 ? log_add(0, l->growth + log(expm1(helping))) : 0;
        set->beyond[i] = fmin(by_ratio, together + others);
    }
}

/* All that may help, in one large tree; else some, so that there is work for many sets. */
static void free_helping(rl_loose *l, unsigned char *looseness, const int *element, int count)
{
    double most = l->most;
    int tries = MOST_TRIES;
    set_all(looseness, element, count, RL_FREE);
    if (fits(l, looseness))
        return;
    set_all(looseness, element, count, RL_NOT_ACTIVE);
    l->most = fmin(most, MANY_CELLS);
    free_some(l, looseness, element, count, &tries);
    l->most = most;
}

static rl_loose_set *first_set(rl_loose *l)
{
    int nodes = l->bench->frame.model->nodes, tries = MOST_TRIES, *list = rl_many(l->arena, nodes + 1, int);
    rl_loose_set *set = rl_new(l->arena, rl_loose_set);
    set->apart = -1;
    set->looseness = rl_many(l->arena, nodes, unsigned char);
    for (int e = 0; e < nodes; e++)
        set->looseness[e] = l->heard[e] != 0 ? RL_NOT_ACTIVE : RL_FREE;
    if (!fits(l, set->looseness))
        return NULL;
    free_some(l, set->looseness, list, list_by_ratio(l, set->looseness, RL_NOT_ACTIVE, WIRES, list), &tries);
    free_helping(l, set->looseness, list, list_by_ratio(l, set->looseness, RL_NOT_ACTIVE, HELPING, list));
    set->rest = rl_many(l->arena, nodes, int);
    set->rests = list_by_ratio(l, set->looseness, RL_NOT_ACTIVE, ALL, set->rest);
    return set;
}

/* ---- sets that grow from one ---- */

/* ln of what is at most in a set with one more, and in all that grow from that. */
static double bound_of(const rl_loose *l, const rl_loose_set *from, int place)
{
    double sum = log(from->ratio[place]) + from->beyond[place + 1], all = log(l->odds[from->rest[place]]) + l->growth;
    for (int i = place + 1; i < from->rests; i++)
        all += log1p(l->odds[from->rest[i]]);
    sum = fmin(sum, all);
    return sum < INFINITY ? from->log_sum + sum : INFINITY;
}

/* Those that may matter come first, and of these the ones of few elements. */
static void wait(rl_loose *l, sprout *s)
{
    bool matters = s->bound > found(l) - MATTERS;
    s->rank = (rl_rank){.first = matters ? LIKELIEST - s->from->count : s->bound, .second = s->bound};
    rl_heap_push(&l->waiting, l->arena, &s->rank);
}

static void sprout_from(rl_loose *l, const rl_loose_set *set)
{
    for (int i = 0; i < set->rests; i++) {
        double bound = bound_of(l, set, i);
        if (isinf(bound) && bound < 0)
            continue;
        sprout *s = rl_new(l->arena, sprout);
        *s = (sprout){.bound = bound, .from = set, .place = i};
        wait(l, s);
    }
}

/* Not looked at: a set of so many elements, perhaps with what grows from it. */
static void pass(rl_loose *l, double bound, int count)
{
    l->passed = log_add(l->passed, bound);
    if (bound >= found(l) - NO_ACCOUNT && count < l->least_passed)
        l->least_passed = count;
}

/* ln of at most what is in the set of a sprout itself, from what is in `part`: INFINITY if that says nothing of it,
 * some of its active elements not being active in the sprout's, or some that are free there being kept quiet. */
static double bound_from(const rl_loose *l, const sprout *s, const rl_loose_set *part)
{
    const unsigned char *mine = s->from->looseness, *less = part->looseness;
    int added = s->from->rest[s->place];
    double by_ratio = 0, by_odds = l->growth;
    for (int e = 0; e < l->bench->frame.model->nodes; e++) {
        bool active = e == added || mine[e] >= RL_ACTIVE;
        if ((less[e] >= RL_ACTIVE && !active) || (mine[e] == RL_FREE && less[e] == RL_NOT_ACTIVE))
            return INFINITY;
        if (active && less[e] < RL_ACTIVE) {
            by_ratio += log(l->ratio[e]);
            by_odds += log(l->odds[e]);
        }
    }
    double sum = fmin(by_ratio, by_odds);
    return sum < INFINITY ? part->log_sum + sum : INFINITY;
}

/* The least such bound. */
static double bound_alone(rl_loose *l, const sprout *s)
{
    double ratio = s->from->ratio[s->place], bound = isinf(ratio) ? INFINITY : s->from->log_sum + log(ratio);
    for (const rl_loose_set *part = l->looked; part; part = part->next) {
        l->steps += COMPARISON;
        bound = fmin(bound, bound_from(l, s, part));
    }
    return bound;
}

/* A set that is not looked at, of which a bound is enough. */
static void pass_over(rl_loose *l, const sprout *s, double bound)
{
    rl_loose_set *set = new_set(l, s->from, s->place, false);
    set->log_sum = bound;
    pass(l, bound, set->count);
    set_beyond(l, set);
    for (int i = 0; i < set->rests; i++)
        set->ratio[i] = l->ratio[set->rest[i]];
    sprout_from(l, set);
}

/* Looks at the set that a sprout stands for; what grows from it waits in its turn. */
static void grow(rl_loose *l, const sprout *s, double bound)
{
    rl_loose_set *set = bound < found(l) - ENOUGH_ALONE ? NULL : new_set(l, s->from, s->place, true);
    bool dear = set && set->apart >= 0 && bound < found(l) - ENOUGH_DEAR;
    if (set)
        set_beyond(l, set);
    if (!set || dear || look(l, set) != RL_OK) {
        pass_over(l, s, bound);
        return;
    }
    set->next = l->looked;
    l->looked = set;
    sprout_from(l, set);
}

/* Takes the next sprout; false if by now its bound is less than it was: it waits again. */
static bool take_next(rl_loose *l)
{
    sprout *s = (sprout *)rl_heap_pop(&l->waiting);
    double alone = bound_alone(l, s), beyond = s->from->beyond[s->place + 1];
    double bound = alone < INFINITY && beyond < INFINITY ? fmin(s->bound, alone + beyond) : s->bound;
    if (isinf(bound) && bound < 0)
        return false;   /* nothing is in it */
    if (bound < found(l) - ENOUGH_ALL) {
        pass(l, bound, s->from->count + 1);
        return false;
    }
    if (bound < s->bound - 1e-9) {
        s->bound = bound;
        wait(l, s);
        return false;
    }
    grow(l, s, alone);
    return true;
}

/* ln of at most what was not looked at; the number of elements at once up to which all was, or is of no account. */
static double left(const rl_loose *l, int *faults)
{
    double sum = l->passed;
    *faults = l->least_passed - 1;
    for (int i = 0; i < l->waiting.count; i++) {
        const sprout *s = (const sprout *)l->waiting.at[i];
        sum = log_add(sum, s->bound);
        if (s->bound >= found(l) - NO_ACCOUNT && s->from->count < *faults)
            *faults = s->from->count;
    }
    return sum;
}

static rl_status look_at_all(rl_loose *l)
{
    rl_loose_set *none = first_set(l);
    if (none)
        set_beyond(l, none);
    if (!none || look(l, none) != RL_OK)
        return RL_WIDE;
    l->looked = none;
    sprout_from(l, none);
    for (int sets = 1, faults; l->waiting.count > 0 && sets < MOST_SETS && l->steps < MOST_STEPS;) {
        if (!take_next(l))
            continue;
        if (sets++ % SUM_EVERY == 0 && left(l, &faults) < found(l) + log(ENOUGH))
            break;
    }
    return RL_OK;
}

/* ---- the answer ---- */

static double cells_of(const rl_case *c)
{
    size_t bound = c->context->settings.memory_bound;
    return fmin((double)(bound ? bound : (size_t)1 << 30) / (double)sizeof(double) / 6, MOST_STEPS / (PASSES * 4));
}

static void set_words(const rl_loose *l, rl_answer *answer)
{
    double rest = left(l, &answer->faults);
    answer->log_evidence = found(l);
    answer->bounded = !(isinf(rest) && rest < 0);
    answer->neglected = answer->bounded ? 1 / (1 + exp(found(l) - rest)) : 0;
    if (!answer->bounded)
        answer->faults = 0;
    answer->cells = l->cells;
    answer->width = l->width;
}

static void set_beliefs(const rl_loose *l, rl_work *work)
{
    int nodes = l->bench->frame.model->nodes;
    work->belief = rl_many(&work->arena, nodes, rl_belief);
    for (int e = 0; e < nodes; e++) {
        double sum = 0;
        for (int s = 0; s < RL_STATES; s++)
            sum += l->state[e][s];
        for (int s = 0; s < RL_STATES; s++)
            work->belief[e].p[s] = l->state[e][s] / sum;
        work->belief[e].touched = l->touched[e];
    }
    work->answer.belief = work->belief;
    double sound[4];
    for (int g = 0; g < 4; g++)
        sound[g] = fmin(l->share[g] / l->total, 1);
    work->shares = (rl_shares){1 - sound[0], 1 - sound[1], 1 - sound[2], sound[3]};
    work->shared_out = true;
}

rl_status rl_loose_answer(rl_case *c, rl_work *work)
{
    int nodes = c->model->nodes;
    rl_loose *l = rl_new(&work->arena, rl_loose);
    rl_bench *whole = rl_new(&work->arena, rl_bench);
    rl_bench_whole(whole, &work->arena, &work->bench);
    *l = (rl_loose){.arena = &work->arena, .bench = whole, .most = cells_of(c), .log_unit = -INFINITY,
                    .passed = -INFINITY, .least_passed = nodes + 1};
    l->touched = rl_many(l->arena, nodes, bool);
    l->state = rl_arena_array(l->arena, (size_t)nodes, sizeof *l->state);
    rl_loose_seen_make(&l->seen, l->arena, &whole->draft);
    rl_loose_ratios(l);
    if (look_at_all(l) != RL_OK)
        return RL_WIDE;
    int faults;
    double rest = left(l, &faults);
    if (!(l->total > 0))
        return isinf(rest) && rest < 0 ? RL_CONTRADICTION : RL_WIDE;
    set_words(l, &work->answer);
    set_beliefs(l, work);
    work->loose = l;
    return RL_OK;
}

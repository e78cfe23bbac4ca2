/* best.c: the tests of a case by bits per minute, the best first (design §4).
 *
 * All of them are worked out and sorted.  The best few are looked for from bounds: what has
 * the highest bound is looked at more closely, until what is worked out stands on top.  All
 * spans of a load have one bound to begin with.
 *
 * Invariant: tests are ordered by bits per minute, ties by text; the best few are the first of
 * all, and how far they were looked for is kept, so that a few more cost no more than these.
 */
#include "advise.h"
#include "limit.h"
#include "portion.h"
#include "rates.h"

#include <assert.h>
#include <math.h>
#include <string.h>

enum { RANGED_SPANS = 32, RANGED_SUPPLIES = 16 };

/* What the best few may cost on a wide network, in cells: counted, not timed, so
 * that it is the same anywhere.  What is beyond it is worked out part by part. */
static const double MOST_SPENT = 1e9;
/* Cells of a network whose best few are still looked for in the whole of it. */
static const double MOST_WHOLE = 1 << 21;

/* How much is known of what stands in the heap. */
typedef enum knowledge { OF_SPANS, OF_TEST, CLOSER, BITS } knowledge;

typedef struct candidate {
    double rate;               /* or a bound on it */
    knowledge known;
    int test, end;             /* one of the list; of spans: all up to `end` */
} candidate;

/* Tests whose ranges were worked out. */
typedef struct ranges { int spans, supplies; } ranges;

/* A heap: nothing stands above what goes before it. */
typedef struct rl_best {
    rl_arena *arena;
    rl_adviser *adviser;
    rl_limits limits;
    rl_candidates list;
    int nodes;                 /* of the model */
    const rl_likely **likely;  /* by place in `list`: ends of those worked out part by part; NULL: none was */
    candidate *heap;           /* NULL: nothing was looked for yet */
    int count, room;
    candidate *pending;        /* those that the whole network could not tell, and their bounds */
    int pendings;
    rl_test *found;            /* those that came out on top */
    int *found_place;          /* in `list` */
    size_t founds, found_room;
    ranges ranged;
} rl_best;

/* Whether x has to come out of the heap before y: bounds before what they may still beat. */
static bool goes_before(const rl_best *best, const candidate *x, const candidate *y)
{
    if (x->known == BITS && y->known == BITS)
        return rl_rates_compare(x->rate, &best->list.at[x->test], y->rate, &best->list.at[y->test]) < 0;
    if (x->rate > y->rate || x->rate < y->rate)
        return x->rate > y->rate;
    return x->known != y->known ? x->known < y->known : x->test < y->test;
}

/* ---- the heap ---- */

static void put(rl_best *best, candidate fresh)
{
    if (best->count == best->room) {
        int room = best->room ? best->room * 2 : 256;
        candidate *more = rl_raw(best->arena, room, candidate);
        if (best->count > 0)
            memcpy(more, best->heap, (size_t)best->count * sizeof *more);
        best->heap = more;
        best->room = room;
    }
    int at = best->count++;
    for (; at > 0 && goes_before(best, &fresh, &best->heap[(at - 1) / 2]); at = (at - 1) / 2)
        best->heap[at] = best->heap[(at - 1) / 2];
    best->heap[at] = fresh;
}

static candidate take(rl_best *best)
{
    assert(best->count > 0);
    candidate top = best->heap[0], last = best->heap[--best->count];
    int at = 0;
    for (int child = 1; child < best->count; child = 2 * at + 1) {
        if (child + 1 < best->count && goes_before(best, &best->heap[child + 1], &best->heap[child]))
            child++;
        if (!goes_before(best, &best->heap[child], &last))
            break;
        best->heap[at] = best->heap[child];
        at = child;
    }
    best->heap[at] = last;
    return top;
}

/* ---- part by part ---- */

/* What the whole network cannot tell, or only at too great a cost. */
static rl_status tell_parted(rl_best *best, rl_case *c, rl_work *work, rl_test **test, int count)
{
    rl_likely **likely = rl_many(best->arena, count + 1, rl_likely *);
    rl_status status = rl_portions_tell(c, work, test, count, likely, &work->test_share);
    if (!best->likely)
        best->likely = rl_many(best->arena, best->list.count + 1, const rl_likely *);
    for (int i = 0; i < count && status == RL_OK; i++)
        best->likely[test[i] - best->list.at] = likely[i];
    return status;
}

/* All tests that have no bits yet. */
static rl_status tell_rest(rl_best *best, rl_case *c, rl_work *work)
{
    rl_test **test = rl_raw(best->arena, best->list.count + 1, rl_test *);
    int count = 0;
    for (int i = 0; i < best->list.count; i++)
        if (best->list.at[i].bits < 0)
            test[count++] = &best->list.at[i];
    return count > 0 ? tell_parted(best, c, work, test, count) : RL_OK;
}

/* ---- the best few ---- */

static bool is_span(const rl_test *test)
{
    return test->sort == RL_TEST_DROP || test->sort == RL_TEST_RESISTANCE || test->sort == RL_TEST_CONTINUITY;
}

static void put_test(rl_best *best, int i)
{
    const rl_test *test = &best->list.at[i];
    put(best, (candidate){rl_rate_of(rl_limit_of(&best->limits, test), test->minutes), OF_TEST, i, i + 1});
}

/* The spans from i on that are of one load; returns where they end. */
static int put_spans(rl_best *best, int i)
{
    const rl_test *test = best->list.at;
    double minutes = test[i].minutes;
    int end = i + 1;
    for (; end < best->list.count && is_span(&test[end]) && test[end].subject == test[i].subject; end++)
        minutes = fmin(minutes, test[end].minutes);
    put(best, (candidate){rl_rate_of(rl_limit_of_spans(&best->limits, test[i].subject), minutes), OF_SPANS, i, end});
    return end;
}

static void put_all(rl_best *best)
{
    for (int i = 0; i < best->list.count;) {
        if (is_span(&best->list.at[i]))
            i = put_spans(best, i);
        else
            put_test(best, i++);
    }
}

/* Looks more closely at what stands on top: true if it is the next best test. */
static bool look_closer(rl_best *best, candidate top)
{
    rl_test *test = &best->list.at[top.test];
    if (top.known == BITS)
        return true;
    if (top.known == OF_SPANS) {
        for (int i = top.test; i < top.end; i++)
            put_test(best, i);
        return false;
    }
    if (top.known == OF_TEST && is_span(test)) {
        double rate = rl_rate_of(rl_limit_closer(&best->limits, test), test->minutes);
        put(best, (candidate){fmin(top.rate, rate), CLOSER, top.test, top.end});
        return false;
    }
    test->bits = rl_adviser_bits(best->adviser, test);
    if (test->bits >= 0)
        put(best, (candidate){rl_rate_of(test->bits, test->minutes), BITS, top.test, top.end});
    else
        best->pending[best->pendings++] = top;
    return false;
}

static void make_room(rl_best *best, size_t most)
{
    if (most <= best->found_room)
        return;
    rl_test *more = rl_many(best->arena, most, rl_test);
    int *place = rl_many(best->arena, most, int);
    if (best->founds > 0) {
        memcpy(more, best->found, best->founds * sizeof *more);
        memcpy(place, best->found_place, best->founds * sizeof *place);
    }
    best->found = more;
    best->found_place = place;
    best->found_room = most;
}

static void find(rl_best *best, size_t most)
{
    make_room(best, most);
    while (best->founds < most && best->count > 0) {
        candidate top = take(best);
        if (!look_closer(best, top))
            continue;
        best->found_place[best->founds] = top.test;
        best->found[best->founds++] = best->list.at[top.test];
    }
}

/* Takes out of those pending the ones that may still be among the best; returns how many. */
static int take_pending(rl_best *best, size_t most, rl_test **test)
{
    const rl_test *last = best->founds > 0 ? &best->found[best->founds - 1] : NULL;
    double rate = best->founds == most && last ? rl_rate_of(last->bits, last->minutes) : -1;
    int count = 0, left = 0;
    for (int i = 0; i < best->pendings; i++)
        if (best->pending[i].rate >= rate)
            test[count++] = &best->list.at[best->pending[i].test];
        else
            best->pending[left++] = best->pending[i];
    best->pendings = left;
    return count;
}

/* What is pending is worked out part by part, and what was found since `before` goes back to compete with it. */
static rl_status find_with_pending(rl_best *best, rl_case *c, rl_work *work, size_t before, size_t most)
{
    rl_test **test = rl_raw(best->arena, best->list.count + 1, rl_test *);
    find(best, most);
    for (int count; (count = take_pending(best, most, test)) > 0; find(best, most)) {
        rl_status status = tell_parted(best, c, work, test, count);
        if (status != RL_OK)
            return status;
        for (int i = 0, at = 0; i < count; i++) {
            at = (int)(test[i] - best->list.at);
            work->test_unknown += test[i]->bits < 0;
            if (test[i]->bits >= 0)
                put(best, (candidate){rl_rate_of(test[i]->bits, test[i]->minutes), BITS, at, at + 1});
        }
        for (; best->founds > before; best->founds--) {
            const rl_test *own = &best->found[best->founds - 1];
            int at = best->found_place[best->founds - 1];
            put(best, (candidate){rl_rate_of(own->bits, own->minutes), BITS, at, at + 1});
        }
    }
    return RL_OK;
}

/* ---- answers ---- */

/* Ends that were met while the test was worked out part by part; NULL: it was not. */
static const rl_likely *likely_of(const rl_best *best, const rl_test *test)
{
    for (int i = 0; best->likely && i < best->list.count; i++)
        if (best->list.at[i].text == test->text)
            return best->likely[i];
    return NULL;
}

static void set_range(rl_best *best, const rl_case *c, rl_test *test)
{
    const rl_likely *likely = likely_of(best, test);
    if (likely)
        rl_likely_set(likely, c, test);
    else if (best->adviser)
        rl_adviser_ranges(best->adviser, c, test);
}

/* Ranges of what stands first. */
static void set_ranges(rl_best *best, const rl_case *c, rl_test *test, size_t count, ranges *ranged)
{
    for (size_t i = 0; i < count; i++) {
        bool supply = test[i].sort == RL_TEST_SUPPLY;
        if (!rl_test_has_range(test[i].sort) || (supply ? test[i].bits < 0 || ranged->supplies == RANGED_SUPPLIES
                                                        : ranged->spans == RANGED_SPANS))
            continue;
        set_range(best, c, &test[i]);
        *(supply ? &ranged->supplies : &ranged->spans) += 1;
    }
}

/* Tests by their subject: those of one load are asked one after the other. */
typedef struct by_subject { int *first, *next; } by_subject;

static by_subject group(rl_arena *arena, const rl_candidates *list, int nodes)
{
    by_subject g = {rl_raw(arena, nodes + 1, int), rl_raw(arena, list->count + 1, int)};
    for (int e = 0; e <= nodes; e++)
        g.first[e] = -1;
    for (int i = list->count; i-- > 0;) {
        int *first = &g.first[list->at[i].subject + 1];
        g.next[i] = *first;
        *first = i;
    }
    return g;
}

static void advise_load(rl_adviser *adviser, const rl_candidates *list, const by_subject *tests, int load)
{
    rl_adviser_together(adviser, load);
    for (int i = tests->first[load + 1]; i >= 0; i = tests->next[i])
        list->at[i].bits = rl_adviser_bits(adviser, &list->at[i]);
    rl_adviser_together(adviser, -1);
}

/* Whether there is a tree over the whole network that is small enough to be asked. */
static bool fits(const rl_best *best, double most_cells)
{
    return best->adviser && rl_plan_cells(rl_adviser_bearings(best->adviser)->givens->bench->plan) <= most_cells;
}

static rl_status advise_all(rl_best *best, rl_case *c, rl_work *work)
{
    const rl_candidates *list = &best->list;
    ranges ranged = {0};
    bool whole = fits(best, RL_PORTION_CELLS);
    by_subject tests = group(&work->arena, list, best->nodes);
    for (int i = 0; i < list->count && !whole; i++)
        list->at[i].bits = -1;
    for (int e = -1; e < best->nodes && whole; e++)
        advise_load(best->adviser, list, &tests, e);
    rl_status status = tell_rest(best, c, work);
    if (status != RL_OK)
        return status;
    for (int i = 0; i < list->count; i++)
        work->test_unknown += list->at[i].bits < 0;
    rl_test *test = rl_rates_sort(&work->arena, list->at, list->count);
    set_ranges(best, c, test, (size_t)list->count, &ranged);
    work->tests = test;
    work->test_count = (size_t)list->count;
    work->test_most = 0;
    return RL_OK;
}

static rl_status advise_best(rl_best *best, rl_case *c, rl_work *work, size_t most)
{
    size_t before = best->founds;
    if (!best->heap) {
        rl_adviser_bound(best->adviser, MOST_SPENT);
        rl_limits_make(&best->limits, best->arena, &work->scratch, c, rl_adviser_bearings(best->adviser));
        best->pending = rl_raw(best->arena, best->list.count + 1, candidate);
        put_all(best);
    }
    rl_status status = find_with_pending(best, c, work, before, most);
    if (status != RL_OK)
        return status;
    set_ranges(best, c, &best->found[before], best->founds - before, &best->ranged);
    work->tests = best->found;
    work->test_count = best->founds;
    work->test_most = most;
    return RL_OK;
}

static rl_status begin(rl_case *c, rl_work *work)
{
    rl_best *best = rl_new(&work->arena, rl_best);
    best->arena = &work->arena;
    best->nodes = c->model->nodes;
    work->test_unknown = 0;
    work->test_share = 1;
    rl_status status = work->bounded || work->loose ? RL_WIDE : rl_adviser_make(&best->adviser, c, work);
    if (status != RL_OK && status != RL_WIDE)
        return status;
    rl_admit_all(&best->list, &work->arena, c);
    work->best = best;
    return RL_OK;
}

/* The best `most` tests (0: all) become the work's. */
static rl_status advise(rl_case *c, rl_work *work, size_t most)
{
    bool all = most == 0 || (work->best && most >= (size_t)work->best->list.count);
    rl_status status = work->best && !all ? RL_OK : begin(c, work);
    if (status != RL_OK)
        return status;
    if (all || !fits(work->best, MOST_WHOLE) || most >= (size_t)work->best->list.count)
        return advise_all(work->best, c, work);
    return advise_best(work->best, c, work, most);
}

typedef struct tests_question {
    size_t most;
    const rl_test **tests;
    size_t *count;
} tests_question;

static rl_status answer_tests(rl_case *c, void *argument)
{
    tests_question *q = argument;
    rl_work *work;
    rl_status status = rl_work_answer(c, &work);
    if (status != RL_OK)
        return status;
    bool enough = work->tests && (work->test_most == 0 || (q->most > 0 && q->most <= work->test_most));
    if (!enough)
        status = advise(c, work, q->most);
    if (status != RL_OK)
        return status == RL_WIDE && work->bounded ? RL_OK : status;   /* none is known then */
    *q->tests = work->tests;
    *q->count = q->most > 0 && q->most < work->test_count ? q->most : work->test_count;
    return RL_OK;
}

rl_status rl_case_best_tests(rl_case *c, size_t most, const rl_test **out, size_t *count)
{
    tests_question q = {most, out, count};
    *out = NULL;
    *count = 0;
    return rl_ask(c, answer_tests, &q);
}

typedef struct ranges_question {
    const rl_test *test;
    rl_test *out;
} ranges_question;

static rl_status answer_ranges(rl_case *c, void *argument)
{
    ranges_question *q = argument;
    rl_work *work = c->work;
    *q->out = *q->test;
    if (!work->tests || !work->best)
        return RL_USAGE;
    bool known = q->test->healthy_high > q->test->healthy_low || q->test->suspect_high > q->test->suspect_low;
    if (!known && q->test->bits >= 0)
        set_range(work->best, c, q->out);
    return RL_OK;
}

rl_status rl_case_ranges(rl_case *c, const rl_test *test, rl_test *out)
{
    ranges_question q = {test, out};
    assert(test && out);
    return rl_ask(c, answer_ranges, &q);
}

size_t rl_case_tests_unknown(const rl_case *c)
{
    return c->work ? c->work->test_unknown : 0;
}

/* Shares that fall short of 1 by less are 1. */
static const double ROUNDING = 1e-9;

double rl_case_tests_share(const rl_case *c)
{
    double share = c->work ? c->work->test_share * (1 - c->work->answer.neglected) : 1;
    return share > 1 - ROUNDING ? 1 : share;
}

rl_status rl_case_tests(rl_case *c, const rl_test **out, size_t *count)
{
    return rl_case_best_tests(c, 0, out, count);
}

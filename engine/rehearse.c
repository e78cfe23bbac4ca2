/* rehearse.c: drawn faults played with every strategy, on the same vehicle.
 *
 * Invariant: what a play comes to depends on model, rule, seed and number alone:
 * every strategy starts from a case of its own, and what a test of a drawn vehicle
 * shows does not depend on what else was asked.
 */
#include "admit.h"
#include "play.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* After so many vehicles whose complaint no fault explains none is looked for any longer. */
enum { MOST_PASSED = 1000 };

/* Vehicles passed over have numbers of their own, so that fault n is the same
 * however many are played. */
static const uint64_t PASSED_STEP = (uint64_t)1 << 40;

struct rl_rehearsal {
    rl_context *context;
    const rl_model *model;
    rl_play_rule rule;
    uint64_t seed;
    rl_arena arena;            /* of the rehearsal, then of each play */
    rl_mark base;              /* behind what lasts */
    const rl_test *walk;
    int walks;
    bool *touched, *cure;      /* of the vehicle played */
    rl_drawn *drawn;           /* NULL: none */
    rl_bout bout;
};

const char *rl_strategy_text(rl_strategy strategy)
{
    switch (strategy) {
    case RL_ADVICE: return "advice";
    case RL_WALK: return "walk";
    case RL_LIKELIEST: return "likeliest";
    }
    return "unknown strategy";
}

/* ---- the walk ---- */

/* What to do at a point: an inspection rather than a reading, then what is quicker, ties: by text. */
static bool suits_better(const rl_test *test, const rl_test *than)
{
    if (test->sort != than->sort)
        return test->sort == RL_TEST_INSPECTION;
    if (test->check_minutes < than->check_minutes || test->check_minutes > than->check_minutes)
        return test->check_minutes < than->check_minutes;
    return strcmp(test->text, than->text) < 0;
}

/* An inspection of the point, or a drop from it to the battery. */
static bool is_at(const rl_test *test, int point)
{
    if (test->sort == RL_TEST_INSPECTION)
        return test->subject == point;
    return test->sort == RL_TEST_DROP && test->from == point && test->to < 0;
}

static const rl_test *test_at(const rl_candidates *list, int point)
{
    const rl_test *best = NULL;
    for (int i = 0; i < list->count; i++)
        if (is_at(&list->at[i], point) && (!best || suits_better(&list->at[i], best)))
            best = &list->at[i];
    return best;
}

typedef struct stop {
    double access;
    int point;
    const rl_test *test;
} stop;

static int by_access(const void *a, const void *b)
{
    const stop *x = a, *y = b;
    if (x->access < y->access || x->access > y->access)
        return x->access < y->access ? -1 : 1;
    return x->point < y->point ? -1 : x->point > y->point;
}

static int list_stops(const rl_model *m, const rl_candidates *list, stop *stops)
{
    int count = 0;
    for (int e = 0; e < m->nodes; e++) {
        const rl_element *info = &m->node[e].info;
        const rl_test *test = info->sort == RL_POINT ? test_at(list, e) : NULL;
        if (test)
            stops[count++] = (stop){info->area >= 0 ? m->area[info->area].access : 0, e, test};
    }
    qsort(stops, (size_t)count, sizeof *stops, by_access);
    return count;
}

/* The points are the same for every complaint: listed once, of a case without findings. */
static void make_walk(rl_rehearsal *r, rl_case *empty)
{
    rl_candidates list;
    rl_admit_all(&list, &r->arena, empty);
    stop *stops = rl_many(&r->arena, r->model->nodes + 1, stop);
    r->walks = list_stops(r->model, &list, stops);
    rl_test *walk = rl_many(&r->arena, r->walks + 1, rl_test);
    for (int i = 0; i < r->walks; i++)
        walk[i] = *stops[i].test;
    r->walk = walk;
}

/* ---- a rehearsal ---- */

static rl_status prepare(rl_rehearsal *r)
{
    jmp_buf here;
    rl_case *empty;
    rl_status status = rl_case_new(r->context, r->model, "", &empty);
    if (status != RL_OK)
        return status;
    if (setjmp(here) == 0) {
        r->arena.bail = &here;
        r->touched = rl_many(&r->arena, r->model->nodes, bool);
        r->cure = rl_many(&r->arena, r->model->nodes, bool);
        make_walk(r, empty);
        r->base = rl_arena_mark(&r->arena);
    } else {
        status = RL_MEMORY;
    }
    r->arena.bail = NULL;
    rl_case_free(empty);
    return status;
}

rl_status rl_rehearsal_new(rl_context *context, const rl_model *model, const rl_play_rule *rule, uint64_t seed,
                           rl_rehearsal **out)
{
    rl_allocator *memory = &context->allocator;
    *out = NULL;
    if (!(rule->above > 0 && rule->above <= 1))
        return RL_USAGE;
    rl_rehearsal *r = memory->take(memory->user, sizeof *r);
    if (r == NULL)
        return RL_MEMORY;
    *r = (rl_rehearsal){.context = context, .model = model, .rule = *rule, .seed = seed};
    rl_arena_init(&r->arena, memory, 0);
    rl_status status = prepare(r);
    if (status == RL_OK)
        *out = r;
    else
        rl_rehearsal_free(r);
    return status;
}

void rl_rehearsal_free(rl_rehearsal *rehearsal)
{
    if (rehearsal == NULL)
        return;
    rl_allocator memory = rehearsal->context->allocator;
    rl_arena_free(&rehearsal->arena);
    memory.give(memory.user, rehearsal);
}

static int more(int a, int b)
{
    return a > b ? a : b;
}

double rl_rehearsal_most_bits(const rl_rehearsal *rehearsal)
{
    const rl_model *m = rehearsal->model;
    int most = 2;
    for (int k = 0; k < m->kinds; k++)
        most = more(most, (int)m->kind[k].info.levels);
    for (int l = 0; l < m->looks; l++)
        most = more(most, (int)m->look[l].info.outcomes);
    if (m->volts.given)
        most = more(most, m->volts.bands + 1);
    if (m->ohms.given)
        most = more(most, m->ohms.bands + 2);
    return log2(most);
}

/* ---- a play ---- */

static rl_status bout_new(rl_rehearsal *r)
{
    assert(r->drawn && !r->bout.c);
    r->bout = (rl_bout){.context = r->context, .model = r->model, .arena = &r->arena, .rule = r->rule,
                        .drawn = r->drawn, .touched = r->touched, .cure = r->cure};
    return rl_bout_begin(&r->bout);
}

/* Which faults explain the complaint; false: none does. */
static bool set_cures(rl_rehearsal *r)
{
    const rl_fault *fault;
    size_t count;
    bool some = false;
    memset(r->cure, 0, (size_t)r->model->nodes * sizeof *r->cure);
    rl_drawn_faults(r->drawn, &fault, &count);
    for (size_t i = 0; i < count; i++) {
        r->cure[fault[i].element] = r->touched[fault[i].element];
        some = some || r->cure[fault[i].element];
    }
    return some;
}

typedef struct none_question {
    const bool *suspect;
    double p;
} none_question;

/* P(no suspect is at fault | complaint): the evidence with all of them held sound. */
static rl_status answer_none(rl_case *c, void *argument)
{
    none_question *q = argument;
    rl_work *work;
    rl_bench fresh;
    rl_status status = rl_work_answer(c, &work);
    q->p = 0;
    if (status != RL_OK || !work->bench.tree)   /* too wide for one network: taken as 0 */
        return status;
    rl_mark mark = rl_arena_mark(&work->arena);
    status = rl_bench_again(&fresh, &work->arena, &work->bench, q->suspect, NULL);
    if (status == RL_OK)
        status = rl_bench_collect(&fresh);
    if (status == RL_OK)
        q->p = exp(fresh.log_evidence - work->bench.log_evidence);
    rl_arena_rewind(&work->arena, mark);
    return status == RL_CONTRADICTION ? RL_OK : status;
}

/* The surprise at the fault to be found; of several, at the likeliest: that is the
 * least that tests and repairs together have to tell before it is named for certain. */
static rl_status set_bits(rl_rehearsal *r, double *bits)
{
    const rl_answer *answer;
    none_question none = {.suspect = r->touched};
    rl_status status = rl_ask(r->bout.c, answer_none, &none);
    if (status == RL_OK)
        status = rl_case_answer(r->bout.c, &answer);
    if (status != RL_OK)
        return status;
    double most = 0;
    for (int e = 0; e < r->model->nodes; e++)
        if (r->cure[e])
            most = fmax(most, rl_fault_share(&answer->belief[e]));
    *bits = most > 0 && most < 1 - none.p ? log2((1 - none.p) / most) : 0;
    return RL_OK;
}

/* Draws vehicles until a fault explains the complaint. */
static rl_status draw(rl_rehearsal *r, uint64_t number, rl_played *out)
{
    for (uint64_t i = 0; i < MOST_PASSED; i++, out->passed_over++) {
        rl_status status = rl_drawn_new(r->context, r->model, r->seed, number + i * PASSED_STEP, &r->drawn);
        if (status == RL_OK)
            status = bout_new(r);
        if (status == RL_OK)
            status = rl_bout_touch(&r->bout, r->touched);
        if (status != RL_OK || set_cures(r))
            return status;
        rl_bout_end(&r->bout);
        rl_drawn_free(r->drawn);
        r->drawn = NULL;
    }
    return RL_MISSING;
}

/* RL_LIKELIEST goes first: what was answered of the complaint serves the next one too. */
static rl_status play_all(rl_rehearsal *r, uint64_t number, rl_played *out)
{
    static const rl_strategy order[RL_STRATEGIES] = {RL_LIKELIEST, RL_ADVICE, RL_WALK};
    rl_status status = draw(r, number, out);
    if (status == RL_OK)
        status = set_bits(r, &out->bits);
    for (int i = 0; i < RL_STRATEGIES && status == RL_OK; i++) {
        if (!r->bout.c)
            status = bout_new(r);
        if (status == RL_OK)
            status = rl_bout_play(&r->bout, order[i], r->walk, r->walks);
        out->of[order[i]] = r->bout.score;
        if (order[i] != RL_LIKELIEST)
            rl_bout_end(&r->bout);
    }
    return status;
}

rl_status rl_rehearsal_play(rl_rehearsal *rehearsal, uint64_t number, rl_played *out)
{
    jmp_buf here;
    rl_status status;
    *out = (rl_played){.bits = 0};
    if (setjmp(here) == 0) {
        rehearsal->arena.bail = &here;
        status = play_all(rehearsal, number, out);
    } else {
        status = RL_MEMORY;
    }
    rehearsal->arena.bail = NULL;
    rl_bout_end(&rehearsal->bout);
    rl_drawn_free(rehearsal->drawn);
    rehearsal->drawn = NULL;
    rl_arena_rewind(&rehearsal->arena, rehearsal->base);
    return status;
}

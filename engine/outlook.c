/* outlook.c: test on, or go and repair: by expected minutes to a confirmed repair (design §4,
 * "When to stop").
 *
 * What is computed stands beside rl_case_outlook in ringlug.h.
 *
 * Invariant: every probability is an exact answer of the case, or of the case with one
 * outcome of a test more; nothing here is drawn or estimated but what the rules
 * leave open (minutes of a repair).
 */
#include "outlook.h"

#include "admit.h"
#include "mend.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* What a repair takes where the rules do not say: minutes by sort. */
static const double customary[RL_SORTS] = {15, 20, 10, 30, 5, 15};

/* With less than this that anything is at fault, nobody is sent to repair. */
static const double LIKELY = 0.5;

/* Elements that explain less are no suspects at all. */
static const double LEAST_SHARE = 1e-6;

typedef struct outlooker {
    rl_case *c;
    const rl_model *model;
    rl_arena *arena;           /* the work's */
    double proof;              /* minutes */
    bool *open;                /* by area, now */
    double *access;            /* by area, minutes */
    bool *suspect;             /* by element: the findings of the case, as it is, brought it under suspicion, and it was not repaired */
    rl_sequel *sequel;
    rl_status status;          /* RL_MEMORY where a sequel ran out of it */
} outlooker;

bool rl_test_from_seat(const rl_test *test)
{
    return test->sort == RL_TEST_BEHAVIOUR || test->sort == RL_TEST_SYMPTOM || test->sort == RL_TEST_BACKFEED
           || test->sort == RL_TEST_PULL;
}

/* ---- which tests are worth a closer look ---- */

size_t rl_choice_reach(size_t most)
{
    return 4 * most;
}

enum { MOST_OF_SUSPECT = 2 };

static bool is_span(const rl_test *test)
{
    return test->sort == RL_TEST_DROP || test->sort == RL_TEST_RESISTANCE || test->sort == RL_TEST_CONTINUITY;
}

/* Readings of the same elements count once, and of those that would show the same suspect a few do. */
static bool worth_choosing(const rl_choice *choice, const rl_test *test)
{
    int same_suspect = 0;
    for (int i = 0; i < choice->count; i++) {
        const rl_test *chosen = choice->test[i];
        bool alike = is_span(test) && chosen->sort == test->sort;
        if (chosen == test || (alike && chosen->measures == test->measures))
            return false;
        same_suspect += alike && test->suspect >= 0 && chosen->suspect == test->suspect;
    }
    return test->bits > 0 && same_suspect < MOST_OF_SUSPECT;
}

static const rl_test *most_telling(const rl_choice *choice, const rl_test *list, size_t count)
{
    const rl_test *best = NULL;
    for (size_t i = 0; i < count; i++)
        if (worth_choosing(choice, &list[i]) && (!best || rl_coarse(list[i].bits) > rl_coarse(best->bits)))
            best = &list[i];
    return best;
}

/* The first that come, at most so many. */
static void choose_first(rl_choice *choice, const rl_test *list, size_t count, size_t most)
{
    for (size_t i = 0; i < count && (size_t)choice->count < most; i++)
        if (worth_choosing(choice, &list[i]))
            choice->test[choice->count++] = &list[i];
}

static size_t first_half(size_t most)
{
    return (most + 1) / 2;
}

rl_choice rl_choose_tests(rl_arena *arena, const rl_test *list, size_t count, size_t most)
{
    rl_choice choice = {.test = rl_many(arena, most + 1, const rl_test *)};
    choose_first(&choice, list, count, first_half(most));
    while ((size_t)choice.count < most) {
        const rl_test *test = most_telling(&choice, list, count);
        if (!test)
            break;
        choice.test[choice.count++] = test;
    }
    return choice;
}

/* ---- repairs ---- */

static double not_sound(const double p[RL_STATES])
{
    return p[RL_LOOSE] + p[RL_CORRODED] + p[RL_OPEN] + p[RL_FAILED];
}

/* The part of an element's being at fault that the findings brought. */
static double blame(const rl_element *info, const rl_belief *belief)
{
    double before = not_sound(info->prior), now = not_sound(belief->p);
    if (!belief->touched || now <= before)
        return 0;
    return fmin(1, (now - before) / (1 - before));
}

/* The longest look that it takes to see again what was seen amiss. */
double rl_proof_minutes(const rl_case *c)
{
    double minutes = 0;
    for (int i = 0; i < c->findings; i++) {
        const rl_finding *f = c->finding[i];
        if (f->line.replaced || f->first_named)
            continue;
        if (f->sort == RL_E_BEHAVIOUR)
            minutes = fmax(minutes, c->model->kind[c->model->node[f->subject].info.kind].info.check);
        else if (f->sort == RL_E_SYMPTOM)
            minutes = fmax(minutes, c->model->sign[f->named].info.check);
    }
    return minutes > 0 ? minutes : 1;
}

double rl_repair_minutes(const rl_element *info)
{
    return info->repair_minutes >= 0 ? info->repair_minutes : customary[info->sort];
}

/* What may be repaired, in the best order. */
static rl_mend_job *list_jobs(const outlooker *o, const rl_belief *belief, const bool *open, int *count)
{
    const rl_model *m = o->model;
    rl_mend_job *job = rl_many(o->arena, m->nodes + 1, rl_mend_job);
    *count = 0;
    for (int e = 0; e < m->nodes; e++) {
        const rl_element *info = &m->node[e].info;
        double p = blame(info, &belief[e]);
        if (p < LEAST_SHARE || !o->suspect[e])
            continue;
        int area = info->area >= 0 && !open[info->area] ? info->area : -1;
        job[(*count)++] = (rl_mend_job){.element = e, .area = area, .p = rl_coarse(p),
                                        .minutes = rl_repair_minutes(info) + o->proof};
    }
    rl_mend_order(job, *count, o->access, m->areas);
    return job;
}

static double minutes_of(const outlooker *o, const rl_mend_job *job, int count, double *each)
{
    return rl_mend_minutes(o->arena, job, count, o->access, o->model->areas, each);
}

static void repair_now(const outlooker *o, const rl_belief *belief, rl_outlook *out)
{
    int count;
    rl_mend_job *job = list_jobs(o, belief, o->open, &count);
    double *each = rl_many(o->arena, count + 1, double);
    rl_mend *mend = rl_many(o->arena, count + 1, rl_mend);
    out->minutes = minutes_of(o, job, count, each);
    for (int i = 0; i < count; i++) {
        const rl_element *info = &o->model->node[job[i].element].info;
        mend[i] = (rl_mend){(size_t)job[i].element, job[i].p, each[i], rl_repair_minutes(info), info->repair_minutes < 0};
        out->at_fault += job[i].p;
    }
    out->at_fault = fmin(1, out->at_fault);
    out->mend = mend;
    out->mends = (size_t)count;
}

/* ---- a test, then repairs ---- */

static double minutes_after(const outlooker *o, const rl_belief *belief, const bool *open)
{
    int count;
    rl_mark mark = rl_arena_mark(o->arena);
    rl_mend_job *job = list_jobs(o, belief, open, &count);
    double minutes = minutes_of(o, job, count, NULL);
    rl_arena_rewind(o->arena, mark);
    return minutes;
}

/* Adds up the outcomes; *out is left alone and false comes back if one has no exact answer. */
static bool minutes_with(outlooker *o, const rl_test *test, double log_evidence, const bool *open, double *out)
{
    double minutes = test->minutes, sum = 0, repairs = 0;
    for (int i = 0; i < rl_test_outcomes(o->model, test); i++) {
        const rl_answer *answer;
        rl_sequel_take(o->sequel, test, i);
        rl_status status = rl_case_answer(&o->sequel->c, &answer);
        if (status == RL_CONTRADICTION)
            continue;
        if (status == RL_MEMORY)
            o->status = status;
        if (status != RL_OK || answer->bounded)
            return false;
        double p = exp(answer->log_evidence - log_evidence);
        sum += p;
        repairs += p * minutes_after(o, answer->belief, open);
    }
    *out = minutes + repairs / sum;
    return sum > 0;
}

static bool prospect_of(outlooker *o, const rl_test *test, double log_evidence, rl_course *out)
{
    rl_mark mark = rl_arena_mark(o->arena);
    bool *open = rl_many(o->arena, o->model->areas + 1, bool);
    memcpy(open, o->open, (size_t)o->model->areas * sizeof *open);
    for (int i = 0; i < 2; i++)
        if (test->areas[i] >= 0)
            open[test->areas[i]] = true;
    out->test = *test;
    bool good = minutes_with(o, test, log_evidence, open, &out->minutes);
    rl_arena_rewind(o->arena, mark);
    return good;
}

static int by_minutes(const void *a, const void *b)
{
    const rl_course *x = a, *y = b;
    double p = rl_coarse(x->minutes), q = rl_coarse(y->minutes);
    if (p < q || p > q)
        return p < q ? -1 : 1;
    return strcmp(x->test.text, y->test.text);
}

static void test_first(outlooker *o, const rl_choice *choice, double log_evidence, rl_outlook *out)
{
    rl_course *list = rl_many(o->arena, choice->count + 1, rl_course);
    for (int i = 0; i < choice->count && o->status == RL_OK; i++)
        if (prospect_of(o, choice->test[i], log_evidence, &list[out->courses]))
            out->courses++;
    qsort(list, out->courses, sizeof *list, by_minutes);
    out->course = list;
}

static double rate(const rl_test *test)
{
    return rl_coarse(test->minutes > 0 ? test->bits / test->minutes : INFINITY);
}

/* Whether a test comes before another: by bits per minute, then by text. */
static bool precedes(const rl_test *test, const rl_test *than)
{
    double p = rate(test), q = rate(than);
    if (p < q || p > q)
        return p > q;
    return strcmp(test->text, than->text) < 0;
}

static bool saves(const rl_outlook *out, const rl_course *course)
{
    return rl_coarse(course->minutes) < rl_coarse(out->minutes);
}

/* Expected minutes say whether to test at all; which test, bits per minute say better, as they
 * look further than to the repairs behind this one test. */
static const rl_course *advise(const rl_outlook *out)
{
    const rl_course *best = NULL;
    for (size_t i = 0; i < out->courses; i++) {
        const rl_course *course = &out->course[i];
        if (saves(out, course) && (!best || precedes(&course->test, &best->test)))
            best = course;
    }
    return best;
}

/* ---- the question ---- */

typedef struct outlook_question {
    const rl_answer *answer;
    const rl_test *list;
    size_t count, most;
    rl_sequel sequel;
    const rl_outlook **out;
} outlook_question;

/* What was repaired in some occasion is not repaired again. */
static void leave_out_repaired(outlooker *o)
{
    for (int i = 0; i < o->c->occasions; i++)
        for (int k = 0; k < o->c->occasion[i].repaired_count; k++)
            o->suspect[o->c->occasion[i].repaired[k]] = false;
}

static void set_outlooker(outlooker *o, rl_case *c, outlook_question *q)
{
    const rl_model *m = c->model;
    *o = (outlooker){.c = c, .model = m, .arena = &c->work->arena, .sequel = &q->sequel};
    o->proof = rl_proof_minutes(c);
    o->open = rl_many(o->arena, m->areas + 1, bool);
    o->access = rl_many(o->arena, m->areas + 1, double);
    rl_areas_open(c, o->open);
    for (int a = 0; a < m->areas; a++)
        o->access[a] = m->area[a].access;
    o->suspect = rl_many(o->arena, m->nodes + 1, bool);
    for (int e = 0; e < m->nodes; e++)
        o->suspect[e] = blame(&m->node[e].info, &q->answer->belief[e]) >= LEAST_SHARE;
    leave_out_repaired(o);
}

static bool may_look_on(const outlooker *o, const rl_outlook *out, const rl_choice *choice)
{
    return out->mends > 0 && choice->count > 0 && !rl_work_parted(o->c->work);
}

static rl_status look_out(rl_case *c, void *argument)
{
    outlook_question *q = argument;
    outlooker o;
    set_outlooker(&o, c, q);
    rl_outlook *out = rl_new(o.arena, rl_outlook);
    rl_choice choice = rl_choose_tests(o.arena, q->list, q->count, q->most);
    repair_now(&o, q->answer->belief, out);
    if (may_look_on(&o, out, &choice)) {
        rl_sequel_open(&q->sequel, c, c->arena.bail);
        test_first(&o, &choice, q->answer->log_evidence, out);
    }
    out->advice = advise(out);
    bool looked = out->courses > 0 || (choice.count == 0 && !rl_work_parted(c->work));
    out->stop = out->at_fault >= LIKELY && looked && !out->advice;
    if (o.status == RL_OK)
        *q->out = out;
    return o.status;
}

rl_status rl_case_outlook(rl_case *c, size_t tests, const rl_outlook **out)
{
    outlook_question q = {.most = tests > 0 ? tests : RL_OUTLOOK_TESTS, .out = out};
    assert(c && out);
    *out = NULL;
    rl_status status = rl_case_answer(c, &q.answer);
    if (status == RL_OK)
        status = rl_case_best_tests(c, rl_choice_reach(q.most), &q.list, &q.count);
    if (status != RL_OK)
        return status;
    status = rl_ask(c, look_out, &q);
    rl_sequel_close(&q.sequel);
    return status;
}

/* ---- the advice alone ---- */

/* What is advised is the first test, by bits per minute, that saves minutes: mostly the very
 * first.  The list is asked for only as far as it takes to find it. */
static const size_t stages[] = {1, 4, 0};
enum { STAGES = sizeof stages / sizeof *stages };

typedef struct advice_question {
    outlook_question of;
    bool whole;                 /* the list reaches as far as that of the outlook */
    const rl_test **tried;
    int trieds;
} advice_question;

static int by_precedence(const void *a, const void *b)
{
    const rl_test *const *x = a, *const *y = b;
    return precedes(*x, *y) ? -1 : precedes(*y, *x);
}

/* The outlook's choice, as far as the list goes, in the order in which it would be advised. */
static rl_choice choose_by_rate(rl_arena *arena, const advice_question *q)
{
    const outlook_question *of = &q->of;
    rl_choice choice = {.test = rl_many(arena, RL_OUTLOOK_TESTS + 1, const rl_test *)};
    if (!q->whole) {
        choose_first(&choice, of->list, of->count, first_half(RL_OUTLOOK_TESTS));
        return choice;
    }
    choice = rl_choose_tests(arena, of->list, of->count, RL_OUTLOOK_TESTS);
    qsort(choice.test, (size_t)choice.count, sizeof *choice.test, by_precedence);
    return choice;
}

/* A test that was tried in an earlier stage saved nothing. */
static bool was_tried(const advice_question *q, const rl_test *test)
{
    for (int i = 0; i < q->trieds; i++)
        if (strcmp(q->tried[i]->text, test->text) == 0)
            return true;
    return false;
}

static void walk(outlooker *o, advice_question *q, const rl_choice *choice, rl_outlook *out)
{
    rl_course *course = rl_new(o->arena, rl_course);
    for (int i = 0; i < choice->count && o->status == RL_OK && !out->advice; i++) {
        if (was_tried(q, choice->test[i]))
            continue;
        q->tried[q->trieds++] = choice->test[i];
        if (prospect_of(o, choice->test[i], q->of.answer->log_evidence, course) && saves(out, course))
            out->advice = course;
    }
}

static rl_status look_for_advice(rl_case *c, void *argument)
{
    advice_question *q = argument;
    outlooker o;
    set_outlooker(&o, c, &q->of);
    if (!q->tried)
        q->tried = rl_many(o.arena, STAGES * RL_OUTLOOK_TESTS, const rl_test *);
    rl_outlook *out = rl_new(o.arena, rl_outlook);
    rl_choice choice = choose_by_rate(o.arena, q);
    repair_now(&o, q->of.answer->belief, out);
    if (may_look_on(&o, out, &choice)) {
        rl_sequel_open(&q->of.sequel, c, c->arena.bail);
        walk(&o, q, &choice, out);
    }
    if (o.status == RL_OK)
        *q->of.out = out;
    return o.status;
}

rl_status rl_case_advice(rl_case *c, const rl_outlook **out)
{
    advice_question q = {.of = {.out = out}};
    assert(c && out);
    *out = NULL;
    rl_status status = rl_case_answer(c, &q.of.answer);
    for (int i = 0; i < STAGES && status == RL_OK && !(*out && (*out)->advice); i++) {
        size_t reach = stages[i] ? stages[i] : rl_choice_reach(RL_OUTLOOK_TESTS);
        q.whole = stages[i] == 0;
        status = rl_case_best_tests(c, reach, &q.of.list, &q.of.count);
        if (status == RL_OK)
            status = rl_ask(c, look_for_advice, &q);
        rl_sequel_close(&q.of.sequel);
    }
    return status;
}

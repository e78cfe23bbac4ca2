/* ahead.c: looking two tests ahead.
 *
 * What is computed stands beside rl_case_look_ahead in ringlug.h.
 *
 * Invariant: bits of a pair are the exact information of both tests about the joint
 * state, outcomes that hardly come about and tests that could not be worked out aside.
 */
#include "outlook.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Nobody plans ahead for less; on a case whose tables have more than so many cells,
 * where each second test is dear, for no less than this, and from few first tests. */
static const double HARDLY = 1e-3, WIDE_CELLS = 3e5, WIDE_HARDLY = 0.05;
enum { WIDE_FIRSTS = 3 };

typedef struct ahead_question {
    double log_evidence;
    const rl_test *list;
    size_t count, most;
    double hardly;             /* outcomes of less get no second test */
    rl_sequel sequel;
    rl_arena *arena;           /* the work's */
    rl_status status;
    const rl_pair **out;
    size_t *pairs;
} ahead_question;

static void name_band(rl_follow *follow, const rl_meter *meter, int outcome)
{
    follow->low = outcome > 0 ? meter->band[outcome - 1] : -INFINITY;
    follow->high = outcome < meter->bands ? meter->band[outcome] : INFINITY;
}

static void name_outcome(rl_follow *follow, const rl_model *m, const rl_test *test, int outcome)
{
    static const char *const presence[] = {"absent", "present"}, *const sound[] = {"silent", "beeps"};
    switch (test->sort) {
    case RL_TEST_DROP:
    case RL_TEST_SUPPLY: name_band(follow, &m->volts, outcome); break;
    case RL_TEST_RESISTANCE:
        if (outcome > m->ohms.bands)
            follow->outcome = "open";
        else
            name_band(follow, &m->ohms, outcome);
        break;
    case RL_TEST_CONTINUITY: follow->outcome = sound[outcome]; break;
    case RL_TEST_INSPECTION: follow->outcome = m->look[test->named].info.outcome[outcome]; break;
    case RL_TEST_SYMPTOM:
    case RL_TEST_BACKFEED:
    case RL_TEST_PULL: follow->outcome = presence[outcome]; break;
    case RL_TEST_BEHAVIOUR:
    case RL_TEST_BYPASS:
    case RL_TEST_BYPASS_AT:
    case RL_TEST_SWAP:
    case RL_TEST_JUMPER:
        follow->outcome = m->kind[m->node[test->subject].info.kind].info.level[outcome];
        break;
    }
}

/* The best test after the outcome that the sequel holds; its text is copied. */
static void follow_up(ahead_question *q, rl_follow *follow)
{
    const rl_test *best;
    size_t count;
    rl_status status = rl_case_best_tests(&q->sequel.c, 1, &best, &count);
    if (status == RL_MEMORY)
        q->status = status;
    if (status != RL_OK || count == 0 || best->bits <= 0)
        return;
    rl_test *copy = rl_new(q->arena, rl_test);
    *copy = *best;
    copy->text = rl_arena_copy(q->arena, best->text, strlen(best->text));
    follow->test = copy;
}

/* One outcome; false: it cannot be, or has no exact answer. */
static bool look_at(ahead_question *q, const rl_test *first, int outcome, rl_follow *follow)
{
    const rl_answer *answer;
    rl_sequel_take(&q->sequel, first, outcome);
    rl_status status = rl_case_answer(&q->sequel.c, &answer);
    if (status == RL_MEMORY)
        q->status = status;
    if (status != RL_OK || answer->bounded)
        return false;
    *follow = (rl_follow){.p = exp(answer->log_evidence - q->log_evidence)};
    name_outcome(follow, q->sequel.c.model, first, outcome);
    if (follow->p >= q->hardly)
        follow_up(q, follow);
    return true;
}

static void look_behind(ahead_question *q, const rl_test *first, rl_pair *pair)
{
    int outcomes = rl_test_outcomes(q->sequel.c.model, first);
    rl_follow *follow = rl_many(q->arena, outcomes + 1, rl_follow);
    *pair = (rl_pair){.first = first, .bits = first->bits, .minutes = first->minutes, .follow = follow};
    for (int i = 0; i < outcomes && q->status == RL_OK; i++) {
        rl_follow *f = &follow[pair->follows];
        if (!look_at(q, first, i, f))
            continue;
        pair->follows++;
        pair->bits += f->test ? f->p * f->test->bits : 0;
        pair->minutes += f->test ? f->p * f->test->minutes : 0;
    }
}

static double rate(double bits, double minutes)
{
    return minutes > 0 ? bits / minutes : INFINITY;
}

/* The pair and its first test count alike: by the pair alone, what is only promised would
 * weigh as much as what is done now; on drawn puzzles that is worse than not looking ahead. */
static double worth(const rl_pair *pair)
{
    return rl_coarse(sqrt(rate(pair->bits, pair->minutes) * rate(pair->first->bits, pair->first->minutes)));
}

static int by_worth(const void *a, const void *b)
{
    const rl_pair *x = a, *y = b;
    double p = worth(x), q = worth(y);
    if (p > q || p < q)
        return p > q ? -1 : 1;
    return strcmp(x->first->text, y->first->text);
}

static rl_status look_ahead(rl_case *c, void *argument)
{
    ahead_question *q = argument;
    q->arena = &c->work->arena;
    rl_choice choice = rl_choose_tests(q->arena, q->list, q->count, q->most);
    rl_pair *pair = rl_many(q->arena, choice.count + 1, rl_pair);
    rl_sequel_open(&q->sequel, c, c->arena.bail);
    for (int i = 0; i < choice.count && q->status == RL_OK; i++)
        look_behind(q, choice.test[i], &pair[i]);
    if (q->status != RL_OK)
        return q->status;
    qsort(pair, (size_t)choice.count, sizeof *pair, by_worth);
    *q->out = pair;
    *q->pairs = (size_t)choice.count;
    return RL_OK;
}

rl_status rl_case_look_ahead(rl_case *c, size_t firsts, const rl_pair **out, size_t *count)
{
    ahead_question q = {.most = firsts > 0 ? firsts : RL_OUTLOOK_TESTS, .out = out, .pairs = count};
    const rl_answer *answer;
    assert(c && out && count);
    *out = NULL;
    *count = 0;
    rl_status status = rl_case_answer(c, &answer);
    if (status == RL_OK && rl_work_parted(c->work))
        return RL_OK;
    if (status == RL_OK)
        status = rl_case_best_tests(c, rl_choice_reach(q.most), &q.list, &q.count);
    if (status != RL_OK)
        return status;
    bool wide = answer->cells > WIDE_CELLS;
    q.log_evidence = answer->log_evidence;
    q.hardly = wide ? WIDE_HARDLY : HARDLY;
    q.most = wide && q.most > WIDE_FIRSTS ? WIDE_FIRSTS : q.most;
    status = rl_ask(c, look_ahead, &q);
    rl_sequel_close(&q.sequel);
    return status;
}

/* words_next.c: how it is said what to do next. */
#include "words_next.h"

#include "term.h"
#include "words.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>

enum { REPAIRS_NAMED = 3 };
static const double TELLS_NOTHING = 1e-3;   /* bits */

static void put_mend(text *out, const rl_model *model, const rl_mend *mend)
{
    words_name(out, model, mend->element);
    text_add(out, ", ");
    words_minutes(out, mend->minutes);
}

static void put_test(text *out, const rl_test *test)
{
    term_safe(out, test->text);
    text_add(out, ", ");
    words_minutes(out, test->minutes);
}

void words_repairs(text *out, const rl_model *model, const rl_outlook *outlook)
{
    assert(outlook->mends > 0);
    text_add(out, "repair at once: ");
    for (size_t i = 0; i < outlook->mends && i < REPAIRS_NAMED; i++) {
        text_add(out, i == 0 ? "" : i == 1 ? "; if that was not it, " : "; then ");
        put_mend(out, model, &outlook->mend[i]);
    }
    if (outlook->mends > REPAIRS_NAMED)
        text_add(out, "; and so on");
}

/* Whether something else is likelier at fault than what is to be repaired first. */
static bool jumps_the_queue(const rl_outlook *outlook)
{
    for (size_t i = 1; i < outlook->mends; i++)
        if (words_coarse(outlook->mend[i].p) > words_coarse(outlook->mend[0].p))
            return true;
    return false;
}

static void put_stop(text *out, const rl_model *model, const rl_outlook *outlook)
{
    const rl_mend *first = &outlook->mend[0];
    text_add(out, " Stop testing and repair ");
    words_name(out, model, first->element);
    text_add(out, jumps_the_queue(outlook) ? ", which is not the likeliest but the best for its minutes" : "");
    text_add(out, ": getting at it, mending it and proving it takes ");
    words_minutes(out, first->minutes);
    text_add(out, first->guessed ? " (customary: the rules give no minutes)" : "");
    if (outlook->courses > 0) {
        text_add(out, ", and even the best test (");
        put_test(out, &outlook->course[0].test);
        text_add(out, ") would cost more time than it can save");
    }
    text_add(out, ".");
}

void words_step(text *out, const rl_model *model, const rl_outlook *outlook, const rl_test *best)
{
    if (outlook->stop) {
        put_stop(out, model, outlook);
        return;
    }
    const rl_test *test = outlook->advice != NULL ? &outlook->advice->test : best;
    if (test == NULL || test->bits < TELLS_NOTHING) {
        text_add(out, " No test that is left would tell more.");
        return;
    }
    text_add(out, " Best next test: ");
    put_test(out, test);
    if (outlook->advice != NULL) {
        text_add(out, "; a confirmed repair is then to be expected in ");
        words_minutes(out, outlook->advice->minutes);
    }
    text_add(out, ".");
}

static void put_value(text *out, const rl_test *first, double value)
{
    if (first->sort == RL_TEST_RESISTANCE)
        words_ohms(out, value);
    else
        words_volts(out, value);
}

void words_follow(text *out, const rl_test *first, const rl_follow *follow)
{
    if (follow->outcome != NULL) {
        term_safe(out, follow->outcome);
    } else if (isinf(follow->low)) {
        text_add(out, "below ");
        put_value(out, first, follow->high);
    } else if (isinf(follow->high)) {
        text_add(out, "above ");
        put_value(out, first, follow->low);
    } else {
        put_value(out, first, follow->low);
        text_add(out, " to ");
        put_value(out, first, follow->high);
    }
}

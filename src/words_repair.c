/* words_repair.c: how a repair and its proof are said.  Invariant: see words_repair.h. */
#include "words_repair.h"

#include "term.h"
#include "words.h"

#include <assert.h>
#include <math.h>
#include <stdint.h>

enum { MOST_NAMES = 8 };

static void put_also(text *out, const rl_model *model, const rl_proof_reading *r)
{
    for (size_t i = 0; i < r->also_count; i++) {
        text_add(out, i == 0 ? " also " : ", ");
        term_safe(out, rl_model_element(model, r->also[i])->id);
    }
}

void words_proof_line(text *out, const rl_model *model, const rl_proof_reading *r)
{
    term_safe(out, r->test.text);
    text_add(out, " N V");
    put_also(out, model, r);
}

static void put_range(text *out, double low, double high)
{
    if (low > 0) {
        words_volts(out, low);
        text_add(out, " to ");
    } else {
        text_add(out, "up to ");   /* a meter may show less than nothing; nobody looks for that */
    }
    words_volts(out, high);
}

void words_proof_how(text *out, const rl_model *model, const rl_proof_reading *r)
{
    bool drop = r->test.sort == RL_TEST_DROP;
    words_how(out, model, &r->test);
    for (size_t i = 0; i < r->also_count; i++) {
        text_add(out, i == 0 ? " Switch on too: " : ", ");
        words_name(out, model, r->also[i]);
    }
    text_add(out, "%s %.3g A pass it then. It should read ", r->also_count > 0 ? ";" : "", r->current);
    text_add(out, drop ? "at most " : "at least ");
    words_volts(out, r->bound);
    if (drop && r->test.limit >= r->bound)
        text_add(out, " (customary limit)");
    text_add(out, "; a healthy one reads ");
    put_range(out, r->test.healthy_low, r->test.healthy_high);
    text_add(out, ", one that is still bad ");
    put_range(out, r->test.suspect_low, r->test.suspect_high);
    text_add(out, ".");
    if (!r->shows)
        text_add(out, " So little current does not show every bad one: good is no proof by itself.");
}

void words_taken(text *out, const rl_taken *taken)
{
    words_volts(out, taken->value);
    if (taken->word == RL_TAKEN_FAINT) {
        text_add(out, ", too little: the load does not draw, or a probe does not touch. Measure again");
    } else {
        text_add(out, taken->word == RL_TAKEN_GOOD ? ", good" : ", not good");
        text_add(out, taken->supply ? ": at least " : ": at most ");
        words_volts(out, taken->bound);
    }
    text_add(out, " (healthy ");
    put_range(out, taken->healthy_low, taken->healthy_high);
    text_add(out, taken->word == RL_TAKEN_GOOD && !taken->shows
                      ? "). So little current does not show every bad one: it is no proof by itself." : ").");
}

static void put_more(text *out, size_t count)
{
    if (count > MOST_NAMES)
        text_add(out, " and %zu more", count - MOST_NAMES);
}

void words_still(text *out, const rl_case *c, const rl_proof *proof)
{
    size_t said = 0;
    for (size_t i = 0; i < proof->complaints; i++) {
        const rl_complaint *x = &proof->complaint[i];
        if (x->again == SIZE_MAX || x->gone || said++ >= MOST_NAMES)
            continue;
        text_add(out, said > 1 ? ", " : "");
        words_line(out, rl_case_line(c, x->again), false);
    }
    put_more(out, said);
}

bool words_reading_needed(const rl_proof *proof)
{
    bool shows = false;
    for (size_t i = 0; i < proof->takens; i++)
        if (proof->taken[i].word == RL_TAKEN_GOOD && proof->taken[i].shows)
            return false;
    for (size_t i = 0; i < proof->readings; i++)
        shows = shows || proof->reading[i].shows;
    return shows;
}

void words_unseen(text *out, const rl_model *model, const rl_proof *proof)
{
    size_t said = 0;
    for (size_t i = 0; i < proof->complaints; i++) {
        if (proof->complaint[i].again != SIZE_MAX || !proof->complaint[i].must || said++ >= MOST_NAMES)
            continue;
        text_add(out, said > 1 ? ", " : "");
        term_safe(out, proof->complaint[i].text);
    }
    put_more(out, said);
    if (!words_reading_needed(proof))
        return;
    for (size_t i = 0; i < proof->readings; i++)
        if (proof->reading[i].shows) {
            text_add(out, said > 0 ? "; " : "");
            words_proof_line(out, model, &proof->reading[i]);
            return;
        }
}

static void put_suspect(text *out, const rl_model *model, const rl_proof *proof)
{
    if (proof->suspect < 0)
        return;
    text_add(out, " First to look at: ");
    words_name(out, model, (size_t)proof->suspect);
    text_add(out, ".");
}

static void put_doubt(text *out, const rl_model *model, size_t element, const rl_proof *proof)
{
    text_add(out, "Not confirmed: all is well now, but ");
    if (proof->at_fault < 0.9) {
        words_name(out, model, element);
        text_add(out, " was at fault with ");
        words_percent(out, proof->at_fault);
        text_add(out, " only: the trouble may come back. Shake, warm or wet it and look again, in a new occasion "
                      "after the repair.");
        put_suspect(out, model, proof);
        return;
    }
    text_add(out, "something else that the complaints hang on is at fault with ");
    words_percent(out, proof->rest);
    text_add(out, ".");
    put_suspect(out, model, proof);
}

static void put_confirmed(text *out, const rl_model *model, size_t element, const rl_proof *proof)
{
    text_add(out, "Confirmed: ");
    words_name(out, model, element);
    text_add(out, " was at fault (");
    words_percent(out, proof->at_fault);
    text_add(out, ") and is mended; that something else is at fault that the complaints hang on: ");
    words_percent(out, proof->rest);
    text_add(out, " (before any finding: ");
    words_percent(out, proof->rest_before);
    text_add(out, ").");
}

void words_verdict(text *out, const rl_model *model, size_t element, const rl_proof *proof)
{
    switch (proof->verdict) {
    case RL_PROOF_NONE:
        text_add(out, "Nothing is proved yet: no occasion of the case is after the repair.");
        break;
    case RL_PROOF_FAILED:
        text_add(out, proof->still > 0 ? "Not proved: there is trouble still."
                                       : "Not proved: a reading is beyond what is allowed; it is not mended, or "
                                         "something beside it is bad.");
        put_suspect(out, model, proof);
        break;
    case RL_PROOF_OPEN:
        text_add(out, "Good so far; not all is seen yet.");
        break;
    case RL_PROOF_DOUBTFUL:
        put_doubt(out, model, element, proof);
        break;
    case RL_PROOF_CONFIRMED:
        put_confirmed(out, model, element, proof);
        break;
    }
}

const char *words_verdict_word(rl_verdict verdict)
{
    static const char *const word[] = { "none", "failed", "open", "doubtful", "confirmed" };
    assert(verdict >= RL_PROOF_NONE && verdict <= RL_PROOF_CONFIRMED);
    return word[verdict];
}

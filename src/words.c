/* words.c: how results are said, in the words of the trade.  Invariant: see words.h. */
#include "words.h"

#include "term.h"

#include <assert.h>
#include <math.h>
#include <string.h>

void words_percent(text *out, double p)
{
    assert(!isnan(p));
    double percent = p * 100;
    if (p <= 0 || p >= 1)
        text_add(out, "%s", p <= 0 ? "0%" : "100%");
    else if (percent < 0.1)
        text_add(out, "<0.1%%");
    else if (percent > 99.9)
        text_add(out, ">99.9%%");
    else if (percent < 9.95 || percent > 99)
        text_add(out, "%.1f%%", percent);
    else
        text_add(out, "%.0f%%", percent);
}

void words_label(text *out, const rl_model *model, size_t element)
{
    const rl_element *e = rl_model_element(model, element);
    if (e->load >= 0) {
        text_add(out, "wire of ");
        term_safe(out, rl_model_element(model, (size_t)e->load)->label);
    } else if (strcmp(e->label, e->id) != 0) {
        term_safe(out, e->label);
    }
}

void words_name(text *out, const rl_model *model, size_t element)
{
    text label = { 0 };
    const char *id = rl_model_element(model, element)->id;
    words_label(&label, model, element);
    if (label.length > 0)
        text_add(out, "%s (", label.bytes);
    term_safe(out, id);
    if (label.length > 0)
        text_add(out, ")");
    text_free(&label);
}

double words_coarse(double number)
{
    int exponent;
    double part = frexp(number, &exponent);
    return ldexp(round(ldexp(part, 40)), exponent - 40);
}

double words_not_sound(const rl_belief *belief)
{
    double p = 0;   /* added up, not 1 - sound: small ones keep their digits */
    for (int state = RL_LOOSE; state < RL_STATES; state++)
        p += belief->p[state];
    return p < 1 ? p : 1;
}

rl_state words_worst(const rl_belief *belief)
{
    int worst = RL_LOOSE;
    for (int state = RL_LOOSE; state < RL_STATES; state++)
        if (words_coarse(belief->p[state]) > words_coarse(belief->p[worst]))
            worst = state;
    return (rl_state)worst;
}

/* Decibans: 10 is ten times the odds, 4 is two and a half times, 1 a quarter more. */
const char *words_strength(double db)
{
    double size = fabs(db);
    if (size >= 10)
        return "strongly";
    if (size >= 4)
        return "clearly";
    return size >= 1 ? "slightly" : NULL;
}

void words_minutes(text *out, double minutes)
{
    text_add(out, "%.*f min", minutes < 10 && fabs(minutes - round(minutes)) > 0.05 ? 1 : 0, minutes);
}

/* A value with two significant digits and no exponent. */
static void put_value(text *out, double value, const char *unit)
{
    int digits = 0;
    if (value != 0 && fabs(value) < 9.95)
        digits = fabs(value) < 0.995 ? 2 : 1;
    text_add(out, "%.*f %s", digits, value, unit);
}

void words_volts(text *out, double volts)
{
    if (fabs(volts) < 0.0995)
        put_value(out, round(volts * 1e4) / 10, "mV");
    else if (fabs(volts) < 9.95)
        put_value(out, volts, "V");
    else
        text_add(out, "%.1f V", volts);   /* a tenth of what a battery has tells a bad feed from a good one */
}

void words_ohms(text *out, double ohms)
{
    if (fabs(ohms) < 0.0995)
        put_value(out, round(ohms * 1e4) / 10, "mohm");
    else if (fabs(ohms) < 995)
        put_value(out, ohms, "ohm");
    else
        put_value(out, ohms / 1000, "kohm");
}

static void put_element(text *out, const rl_model *model, int element)
{
    assert(element >= 0);
    words_name(out, model, (size_t)element);
}

const char *words_contact(const rl_model *model, size_t element)
{
    return rl_model_element(model, element)->sort == RL_POINT ? "the ring terminal at" : "the metal at";
}

static void put_end(text *out, const rl_model *model, int element, const char *otherwise)
{
    if (element < 0) {
        text_add(out, "%s", otherwise);
        return;
    }
    text_add(out, "%s ", words_contact(model, (size_t)element));
    put_element(out, model, element);
}

/* The last element of a load's return, where a reading without current ends. */
static int end_of_return(const rl_model *model, size_t load)
{
    size_t count;
    const int *on = rl_model_on_every_path(model, load, &count);
    return count > 0 ? on[count - 1] : -1;
}

bool words_is_reading(const rl_test *test)
{
    return test->sort == RL_TEST_DROP || test->sort == RL_TEST_RESISTANCE
           || test->sort == RL_TEST_CONTINUITY || test->sort == RL_TEST_SUPPLY;
}

static void how_reading(text *out, const rl_model *model, const rl_test *t)
{
    text load = { 0 };
    put_element(&load, model, t->subject);
    const char *name = text_get(&load);
    if (t->sort == RL_TEST_SUPPLY) {
        text_add(out, "Switch %s on; measure the voltage from its feed terminal to battery negative.", name);
        text_free(&load);
        return;
    }
    if (t->sort == RL_TEST_DROP)
        text_add(out, "Switch %s on; measure the voltage drop from ", name);
    else
        text_add(out, "With %s unplugged, measure %s from ", name,
                 t->sort == RL_TEST_RESISTANCE ? "the resistance" : "continuity");
    put_end(out, model, t->from, "its ground terminal");
    text_add(out, " to ");
    if (t->sort == RL_TEST_DROP || t->to >= 0)
        put_end(out, model, t->to, "battery negative");
    else
        put_end(out, model, end_of_return(model, (size_t)t->subject), "the end of its return");
    text_add(out, ".");
    text_free(&load);
}

static void how_conditioned(text *out, const rl_model *model, const rl_test *t)
{
    text load = { 0 };
    put_element(&load, model, t->subject);
    const char *name = text_get(&load);
    if (t->sort == RL_TEST_BYPASS)
        text_add(out, "Run a fused lead from the ground terminal of %s to battery negative; see what it does then.", name);
    else if (t->sort == RL_TEST_SWAP)
        text_add(out, "Put a known good one in the place of %s; see what it does then.", name);
    else if (t->sort == RL_TEST_JUMPER)
        text_add(out, "Feed %s straight from the battery through a fuse; see what it does then.", name);
    else {
        text_add(out, "Run a fused lead from %s ", words_contact(model, (size_t)t->other));
        put_element(out, model, t->other);
        text_add(out, " to battery negative; see what %s does then.", name);
    }
    text_free(&load);
}

static void how_pair(text *out, const rl_model *model, const rl_test *t)
{
    assert(t->subject >= 0 && t->other >= 0);
    text one = { 0 }, other = { 0 };
    put_element(&one, model, t->subject);
    put_element(&other, model, t->other);
    if (t->sort == RL_TEST_BACKFEED)
        text_add(out, "Switch on only %s; does %s answer although it is off?", text_get(&one), text_get(&other));
    else
        text_add(out, "With %s on, switch %s on and off; does the first one change?", text_get(&other), text_get(&one));
    text_free(&one);
    text_free(&other);
}

void words_how(text *out, const rl_model *model, const rl_test *t)
{
    switch (t->sort) {
    case RL_TEST_BEHAVIOUR:
        text_add(out, "Switch on and watch ");
        put_element(out, model, t->subject);
        text_add(out, ".");
        break;
    case RL_TEST_SYMPTOM:
        text_add(out, "Is it there or not: ");
        term_safe(out, rl_model_symptom(model, (size_t)t->named)->label);
        text_add(out, "?");
        break;
    case RL_TEST_INSPECTION:
        put_element(out, model, t->subject);
        text_add(out, ": ");
        term_safe(out, rl_model_inspection(model, (size_t)t->named)->label);
        text_add(out, ".");
        break;
    case RL_TEST_BACKFEED:
    case RL_TEST_PULL:
        how_pair(out, model, t);
        break;
    case RL_TEST_DROP:
    case RL_TEST_RESISTANCE:
    case RL_TEST_CONTINUITY:
    case RL_TEST_SUPPLY:
        how_reading(out, model, t);
        break;
    case RL_TEST_BYPASS:
    case RL_TEST_BYPASS_AT:
    case RL_TEST_SWAP:
    case RL_TEST_JUMPER:
        how_conditioned(out, model, t);
        break;
    }
}

/* Whether a range says something; one that nobody worked out has no width. */
static bool is_range(double low, double high)
{
    return isfinite(low) && isfinite(high) && high > low;
}

static void put_range(text *out, const rl_test *t, double low, double high)
{
    void (*put)(text *, double) = t->sort == RL_TEST_RESISTANCE ? words_ohms : words_volts;
    if (low > 0) {
        put(out, low);
        text_add(out, " to ");
    } else {
        text_add(out, "up to ");   /* a meter may show less than nothing; nobody looks for that */
    }
    put(out, high);
}

static void put_list(text *out, size_t count, const char *const *word)
{
    for (size_t i = 0; i < count; i++) {
        text_add(out, i == 0 ? "" : ", ");
        term_safe(out, word[i]);
    }
}

static void outcomes_of_reading(text *out, const rl_model *model, const rl_test *t)
{
    if (t->sort == RL_TEST_CONTINUITY) {
        text_add(out, "Healthy: it beeps. Faulty: silent if the path is open; a corroded joint may still beep.");
        return;
    }
    if (is_range(t->healthy_low, t->healthy_high)) {
        text_add(out, "Healthy: ");
        put_range(out, t, t->healthy_low, t->healthy_high);
        if (t->sort == RL_TEST_DROP && t->limit > 0) {
            text_add(out, " (customary limit ");
            words_volts(out, t->limit);
            text_add(out, ")");
        }
        text_add(out, ".");
    }
    if (t->suspect >= 0 && is_range(t->suspect_low, t->suspect_high)) {
        text_add(out, is_range(t->healthy_low, t->healthy_high) ? " With " : "With ");
        put_element(out, model, t->suspect);
        text_add(out, " at fault: ");
        put_range(out, t, t->suspect_low, t->suspect_high);
        text_add(out, t->sort == RL_TEST_DROP ? "; open: the supply voltage."
                      : t->sort == RL_TEST_SUPPLY ? "; open: 0 V." : "; open: no reading.");
    }
}

static void outcomes_of_behaviour(text *out, const rl_model *model, const rl_test *t)
{
    const rl_kind *kind = rl_model_kind(model, (size_t)rl_model_element(model, (size_t)t->subject)->kind);
    text_add(out, t->sort == RL_TEST_BEHAVIOUR ? "Healthy: " : "Mended by this: ");
    put_list(out, 1, kind->level);
    text_add(out, t->sort == RL_TEST_BEHAVIOUR ? ". Faulty: " : ". Not mended: ");
    put_list(out, kind->levels - 1, kind->level + 1);
    text_add(out, ".");
}

void words_outcomes(text *out, const rl_model *model, const rl_test *t)
{
    if (words_is_reading(t)) {
        outcomes_of_reading(out, model, t);
    } else if (t->sort == RL_TEST_INSPECTION) {
        const rl_inspection *look = rl_model_inspection(model, (size_t)t->named);
        text_add(out, "Healthy: ");
        put_list(out, 1, look->outcome);
        text_add(out, ". Faulty: ");
        put_list(out, look->outcomes - 1, look->outcome + 1);
        text_add(out, ".");
    } else if (t->subject < 0 || t->sort == RL_TEST_BACKFEED || t->sort == RL_TEST_PULL) {
        text_add(out, "Healthy: absent. Faulty: present.");
    } else {
        outcomes_of_behaviour(out, model, t);
    }
}

void words_explanation(text *out, const rl_model *model, const rl_explanation *x)
{
    if (x->count == 0)
        text_add(out, "none of the suspects at fault");
    for (size_t i = 0; i < x->count; i++) {
        text_add(out, i == 0 ? "" : " and ");
        words_name(out, model, x->faults[i].element);
        text_add(out, " %s", rl_state_text(x->faults[i].state));
    }
}

void words_tests_share(text *out, double share)
{
    text_add(out, "Bits are of the faults that were looked at, which hold ");
    if (share < 0.9999) {
        text_add(out, "at least ");
        words_percent(out, share);
    } else {
        text_add(out, "all but at most %.2g", 1 - share);
    }
    text_add(out, " of the probability.");
}

void words_unknown(text *out, size_t count)
{
    text_add(out, "%zu further test%s would take too long or too wide a table to be worked out: not ranked.", count,
             count == 1 ? "" : "s");
}

void words_shares(text *out, const rl_shares *shares)
{
    const double share[] = { shares->of_return, shares->of_feed, shares->of_load, shares->none };
    static const char *const word[] = { "ground side ", ", feed side ", ", a load itself ", ", nothing " };
    text_add(out, "At fault: ");
    for (size_t i = 0; i < 4; i++) {
        text_add(out, "%s", word[i]);
        words_percent(out, share[i]);
    }
    text_add(out, " (several may be at once).");
}

const char *words_case(const rl_case *c)
{
    const char *name = rl_case_name(c);
    return name[0] != '\0' ? name : "(no name)";
}

void words_bound(text *out, const rl_answer *answer)
{
    text_add(out, "Not exact: at most %d faults at once were looked at; what was not looked at has a probability of "
                  "at most %.2g.", answer->faults, answer->neglected);
}

size_t words_leader(const rl_model *model, const rl_answer *answer)
{
    size_t count = rl_model_vehicle(model)->elements, leader = 0;
    assert(count > 0);
    for (size_t i = 1; i < count; i++)
        if (words_coarse(words_not_sound(&answer->belief[i])) > words_coarse(words_not_sound(&answer->belief[leader])))
            leader = i;
    return leader;
}

void words_sum(text *out, const rl_model *model, const rl_answer *answer, const rl_shares *shares)
{
    size_t leader = words_leader(model, answer);
    const rl_element *e = rl_model_element(model, leader);
    double p = words_not_sound(&answer->belief[leader]);
    if (p < 0.5 && shares->none >= 0.5)
        text_add(out, "Most likely nothing is at fault; first to suspect would be ");
    else
        text_add(out, p >= 0.9 ? "Almost surely at fault: " : p >= 0.5 ? "Probably at fault: "
                                                                        : "Not clear yet; first suspect: ");
    words_name(out, model, leader);
    text_add(out, ", %s", rl_state_text(words_worst(&answer->belief[leader])));
    text_add(out, " (at fault with ");
    words_percent(out, p);
    text_add(out, ").");
    if (p >= 0.5 && e->repair_text != NULL) {
        text_add(out, " Repair: ");
        term_safe(out, e->repair_text);
        text_add(out, ".");
    }
}

void words_line(text *out, const rl_line *line, bool place)
{
    term_safe(out, line->text);
    if (!place || line->path == NULL || line->line == 0)
        return;
    text_add(out, "  [");
    term_safe(out, line->path);
    text_add(out, ":%zu]", line->line);
}

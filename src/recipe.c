/* recipe.c: how a test is done, step by step.
 *
 * Invariant: every sort of test has a recipe, and every step of it is safe to
 * print.  Numbers are those of the rules and of the test; none is of this file's own.
 */
#include "recipe.h"

#include "term.h"
#include "words.h"

#include <assert.h>
#include <string.h>

enum { MOST_ALSO = 2 };

/* ---- putting steps together ---- */

/* Ends a step: takes its text and clears it. */
static void step(recipe *out, const char *head, text *body)
{
    list_add(&out->head, head);
    list_add(&out->body, text_get(body));
    text_clear(body);
}

static void plain(recipe *out, const char *head, const char *words)
{
    list_add(&out->head, head);
    list_add(&out->body, words);
}

static void put_name(text *out, const rl_model *model, int element)
{
    assert(element >= 0);
    words_name(out, model, (size_t)element);
}

static void put_where(text *out, const rl_model *model, int element)
{
    int area = rl_model_element(model, (size_t)element)->area;
    if (area < 0)
        return;
    text_add(out, ", ");
    term_safe(out, rl_model_area(model, (size_t)area)->label);
}

static void put_amperes(text *out, double amperes)
{
    text_add(out, amperes < 9.95 ? "%.2g A" : "%.0f A", amperes);
}

static void open_areas(recipe *out, const rl_model *model, const rl_test *t)
{
    text line = { 0 };
    for (size_t i = 0; i < 2; i++) {
        if (t->areas[i] < 0)
            continue;
        const rl_area *area = rl_model_area(model, (size_t)t->areas[i]);
        term_safe(&line, area->label);
        text_add(&line, ", ");
        words_minutes(&line, area->access);
        step(out, "Open", &line);
    }
    text_free(&line);
}

static void type_line(recipe *out, const rl_test *t, const char *outcome)
{
    text line = { 0 };
    term_safe(&line, t->text);
    text_add(&line, " %s", outcome);
    step(out, "Then type", &line);
    text_free(&line);
}

/* Of a load: what it does stands behind its name, before the condition. */
static void type_behaviour(recipe *out, const rl_model *model, const rl_test *t)
{
    const rl_element *load = rl_model_element(model, (size_t)t->subject);
    size_t name = strlen(load->id);
    assert(strncmp(t->text, load->id, name) == 0);
    text line = { 0 };
    term_safe(&line, load->id);
    text_add(&line, " ");
    term_safe(&line, rl_model_kind(model, (size_t)load->kind)->level[0]);
    term_safe(&line, t->text + name);
    text_add(&line, ", or what it does instead");
    step(out, "Then type", &line);
    text_free(&line);
}

/* The outcomes in a sentence, where there is one to say. */
static void outcomes(recipe *out, const rl_model *model, const rl_test *t)
{
    text line = { 0 };
    words_outcomes(&line, model, t);
    text_trim(&line);
    if (line.length > 0)
        step(out, "Shows", &line);
    text_free(&line);
}

/* ---- loads ---- */

/* Elements of the span that lie on every return path of the load: from `from` up to, not including, `to`. */
static size_t span_of(const rl_model *model, const rl_test *t, const int **first)
{
    size_t count, from = 0;
    const int *on = rl_model_on_every_path(model, (size_t)t->subject, &count);
    while (t->from >= 0 && from < count && on[from] != t->from)
        from++;
    size_t to = from;
    while (to < count && on[to] != t->to)
        to++;
    *first = on + from;
    return to - from;
}

static bool returns_through(const rl_model *model, size_t load, int element)
{
    size_t count;
    const int *on = rl_model_on_every_path(model, load, &count);
    for (size_t i = 0; i < count; i++)
        if (on[i] == element)
            return true;
    return false;
}

/* Whether a load shares the suspect, or, where none stands out, all of the span but the first load's wire. */
static bool shares_span(const rl_model *model, const rl_test *t, size_t load)
{
    const int *on;
    size_t count = span_of(model, t, &on), shared = 0;
    if (t->suspect >= 0 && !returns_through(model, load, t->suspect))
        return false;
    for (size_t i = 0; i < count; i++) {
        if (rl_model_element(model, (size_t)on[i])->sort == RL_WIRE)
            continue;
        if (!returns_through(model, load, on[i]) && t->suspect < 0)
            return false;
        shared++;
    }
    return shared > 0;
}

size_t recipe_also(const rl_model *model, const rl_test *t, size_t *list, size_t most)
{
    size_t count = 0, elements = rl_model_vehicle(model)->elements;
    double least = rl_model_element(model, (size_t)t->subject)->current;
    for (size_t e = 0; e < elements; e++) {
        const rl_element *info = rl_model_element(model, e);
        if (info->sort != RL_LOAD || (int)e == t->subject || !(info->current > least) || !shares_span(model, t, e))
            continue;
        size_t at = count < most ? count++ : count;
        for (; at > 0 && rl_model_element(model, list[at - 1])->current < info->current; at--)
            if (at < most)
                list[at] = list[at - 1];
        if (at < most)
            list[at] = e;
    }
    return count;
}

/* A joint's resistance from which on the load's current makes it drop the limit. */
static void put_sensitivity(text *out, double current, double limit)
{
    text_add(out, ", which draws ");
    put_amperes(out, current);
    if (limit > 0) {
        text_add(out, ": a joint has to have ");
        words_ohms(out, limit / current);
        text_add(out, " or more before this drops the limit of ");
        words_volts(out, limit);
    }
}

static void switch_on(recipe *out, const rl_model *model, const rl_test *t)
{
    double current = rl_model_element(model, (size_t)t->subject)->current;
    text line = { 0 };
    put_name(&line, model, t->subject);
    if (current > 0)
        put_sensitivity(&line, current, t->sort == RL_TEST_DROP ? t->limit : 0);
    text_add(&line, ". Leave it on while you read.");
    step(out, "Switch on", &line);
    text_free(&line);
}

static void why_this_load(recipe *out, const rl_model *model, const rl_test *t)
{
    text line = { 0 };
    if (t->suspect >= 0) {
        text_add(&line, "its current passes ");
        put_name(&line, model, t->suspect);
        text_add(&line, "; without a current no joint shows, however bad.");
        step(out, "Why this load", &line);
    }
    text_free(&line);
}

static void switch_on_too(recipe *out, const rl_model *model, const rl_test *t)
{
    size_t load[MOST_ALSO], count = recipe_also(model, t, load, MOST_ALSO);
    text line = { 0 };
    for (size_t i = 0; i < count; i++) {
        text_add(&line, i > 0 ? " and " : "");
        put_name(&line, model, (int)load[i]);
        text_add(&line, ", ");
        put_amperes(&line, rl_model_element(model, load[i])->current);
    }
    if (count > 0) {
        text_add(&line, "; %s the same way and %s more, so a bad joint shows more clearly. Then end the line with: also ",
                 count > 1 ? "they return" : "it returns", count > 1 ? "draw" : "draws");
        for (size_t i = 0; i < count; i++) {
            text_add(&line, i > 0 ? ", " : "");
            term_safe(&line, rl_model_element(model, load[i])->id);
        }
        step(out, "May be on too", &line);
    }
    text_free(&line);
}

/* ---- readings ---- */

static void lead_at_load(recipe *out, const rl_model *model, const char *head, const rl_test *t, const char *what)
{
    text line = { 0 };
    text_add(&line, "on the %s of ", what);
    put_name(&line, model, t->subject);
    put_where(&line, model, t->subject);
    text_add(&line, ": on the terminal itself, not on its housing");
    step(out, head, &line);
    text_free(&line);
}

static void lead_at(recipe *out, const rl_model *model, const char *head, int element)
{
    bool ring = rl_model_element(model, (size_t)element)->sort == RL_POINT;
    text line = { 0 };
    text_add(&line, "on %s ", words_contact(model, (size_t)element));
    put_name(&line, model, element);
    put_where(&line, model, element);
    text_add(&line, ring ? ": on the lug of the cable, not on the bolt or the body" : ", on the side of the load");
    step(out, head, &line);
    text_free(&line);
}

static void lead_at_battery(recipe *out)
{
    plain(out, "Other lead", "on the battery negative post itself, not on its clamp");
}

static void lead_at_end(recipe *out, const rl_model *model, const rl_test *t)
{
    size_t count;
    const int *on = rl_model_on_every_path(model, (size_t)t->subject, &count);
    assert(count > 0);
    lead_at(out, model, "Other lead", t->to >= 0 ? t->to : on[count - 1]);
}

static void drop_recipe(recipe *out, const rl_model *model, const rl_test *t)
{
    switch_on(out, model, t);
    why_this_load(out, model, t);
    switch_on_too(out, model, t);
    if (t->from >= 0)
        lead_at(out, model, "One lead", t->from);
    else
        lead_at_load(out, model, "One lead", t, "ground terminal");
    if (t->to >= 0)
        lead_at(out, model, "Other lead", t->to);
    else
        lead_at_battery(out);
    plain(out, "Meter", "volts of direct current");
    outcomes(out, model, t);
    plain(out, "Worth nothing if", "the load does not draw (a dead load reads next to nothing: measure its current, or its "
                                   "supply first); paint, rust or plating is under a probe; another load is on that returns "
                                   "the same way and is not named in the line; engine or charger runs.");
    type_line(out, t, "0.12 V, with your reading in its place; at 0.4 A behind it if you measured the current");
}

/* Where too wide a table would be needed there are no ranges. */
static void supply_shows(recipe *out, const rl_model *model, const rl_test *t)
{
    text line = { 0 };
    if (t->healthy_high > t->healthy_low) {
        outcomes(out, model, t);
    } else {
        text_add(&line, "Healthy: near the ");
        words_volts(&line, rl_model_vehicle(model)->supply);
        text_add(&line, " of the battery under this load. Faulty: clearly less, or nothing.");
        step(out, "Shows", &line);
    }
    text_free(&line);
}

static void supply_recipe(recipe *out, const rl_model *model, const rl_test *t)
{
    switch_on(out, model, t);
    lead_at_load(out, model, "One lead", t, "feed terminal");
    lead_at_battery(out);
    plain(out, "Meter", "volts of direct current");
    supply_shows(out, model, t);
    plain(out, "Worth nothing if", "the supply is not loaded (load unplugged, switched off or dead: a bad feed then still "
                                   "shows the full voltage); paint or rust is under a probe; engine or charger runs.");
    type_line(out, t, "12.1 V, with your reading in its place");
}

static void dead_recipe(recipe *out, const rl_model *model, const rl_test *t)
{
    bool ohms = t->sort == RL_TEST_RESISTANCE;
    text line = { 0 };
    put_name(&line, model, t->subject);
    text_add(&line, "; all that returns the same way is off, the battery negative is off.");
    step(out, "Unplug", &line);
    text_free(&line);
    if (t->from >= 0)
        lead_at(out, model, "One lead", t->from);
    else
        lead_at_load(out, model, "One lead", t, "ground terminal");
    lead_at_end(out, model, t);
    plain(out, "Meter", ohms ? "ohms; hold the leads together first and take off what they show by themselves"
                             : "continuity, with sound");
    outcomes(out, model, t);
    plain(out, "Worth nothing if", ohms ? "the circuit is still live; another load offers a way round; paint or rust is under "
                                          "a probe. A strand that still holds reads well: a drop under current shows more."
                                        : "the circuit is still live; another load offers a way round. It tells open from not "
                                          "open, no more: a drop under current shows more.");
    type_line(out, t, ohms ? "1.4 ohm, with your reading in its place, or: open" : "beeps, or: silent");
}

/* ---- what changes when something is put in ---- */

static void watch(recipe *out, const rl_model *model, const rl_test *t)
{
    text line = { 0 };
    put_name(&line, model, t->subject);
    text_add(&line, ", and watch it: does it do now what it should?");
    step(out, "Switch on", &line);
    text_free(&line);
    outcomes(out, model, t);
}

static void bypass_recipe(recipe *out, const rl_model *model, const rl_test *t)
{
    text line = { 0 };
    put_name(&line, model, t->subject);
    text_add(&line, " is off while you connect.");
    step(out, "Switch off", &line);
    text_free(&line);
    if (t->sort == RL_TEST_BYPASS_AT)
        lead_at(out, model, "Fused lead, one end", t->other);
    else
        lead_at_load(out, model, "Fused lead, one end", t, "ground terminal");
    plain(out, "Fused lead, other end", "on the battery negative, away from the post");
    watch(out, model, t);
    plain(out, "Worth nothing if", "the lead is thin or long, or its clips sit on paint or rust.");
    type_behaviour(out, model, t);
}

static void swap_recipe(recipe *out, const rl_model *model, const rl_test *t)
{
    plain(out, "Put in", "one of the same kind that is known to work, with the same current");
    watch(out, model, t);
    plain(out, "Worth nothing if", "the one put in was not tried elsewhere first, or its contacts are dirty.");
    type_behaviour(out, model, t);
}

static void jumper_recipe(recipe *out, const rl_model *model, const rl_test *t)
{
    text line = { 0 };
    put_name(&line, model, t->subject);
    text_add(&line, "'s feed terminal, from the battery positive, with a fuse at the battery end");
    step(out, "Fused lead to", &line);
    text_free(&line);
    outcomes(out, model, t);
    plain(out, "Worth nothing if", "the load is still on its own feed too, or the lead is too thin for its current.");
    type_behaviour(out, model, t);
}

/* ---- what is only looked at ---- */

static void look_recipe(recipe *out, const rl_model *model, const rl_test *t)
{
    text line = { 0 };
    words_how(&line, model, t);
    step(out, "Do", &line);
    text_free(&line);
    outcomes(out, model, t);
}

void recipe_make(recipe *out, const rl_model *model, const rl_test *t)
{
    *out = (recipe){ { 0 }, { 0 } };
    open_areas(out, model, t);
    switch (t->sort) {
    case RL_TEST_DROP: drop_recipe(out, model, t); break;
    case RL_TEST_SUPPLY: supply_recipe(out, model, t); break;
    case RL_TEST_RESISTANCE:
    case RL_TEST_CONTINUITY: dead_recipe(out, model, t); break;
    case RL_TEST_BYPASS:
    case RL_TEST_BYPASS_AT: bypass_recipe(out, model, t); break;
    case RL_TEST_SWAP: swap_recipe(out, model, t); break;
    case RL_TEST_JUMPER: jumper_recipe(out, model, t); break;
    case RL_TEST_BEHAVIOUR:
    case RL_TEST_SYMPTOM:
    case RL_TEST_INSPECTION:
    case RL_TEST_BACKFEED:
    case RL_TEST_PULL: look_recipe(out, model, t); break;
    }
}

void recipe_free(recipe *r)
{
    list_free(&r->head);
    list_free(&r->body);
}

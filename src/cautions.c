/* cautions.c: what must be said before a test (design §6, common practice).
 *
 * Invariant: a caution depends on the rules and the test alone, never on what
 * was said before: a test that needs one never comes without it.
 */
#include "cautions.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

const char *const cautions_always =
    "The maker's manual, local codes and licensed practice go before this advice. Raised or hot vehicle, "
    "moving belts, fans that start by themselves: the usual care. Orange cables are not covered here: leave "
    "them alone.";

static const char with_jumper[] =
    "jumper: fuse it at or below the load's own fuse, unplug the load from its circuit; never on control units, "
    "air bags, ignition, injectors, or pumps near open fuel.";
static const char with_bypass[] =
    "bypass: load switched off while you connect it, fused lead, battery end away from the battery; never in place "
    "of an engine strap or the negative cable while cranking or charging.";
static const char dead_circuit[] =
    "circuit dead, load unplugged, battery negative off.";
static const char battery_off[] =
    "battery off: negative first, on last (the positive on a positive-earth vehicle); radio codes and relearning.";
static const char swap_off[] = "swap: switch the load off first.";
static const char heavy_current[] =
    "reading under cranking or winching: neutral, brakes, chocks, fuel or ignition made safe, clear of belts, "
    "short bursts.";
static const char at_the_post[] =
    "battery post or main strap: engine and charger off; hydrogen: no sparks.";
static const char lead_on_post[] = "lead on the battery post: engine and charger off, no sparks.";
static const char joint_off[] =
    "switch off all that returns through it before you undo it: undone under load it sparks, and the current takes "
    "another way.";
static const char feed_off[] = "dead first: fuse out, at a main feed the battery off.";
static const char load_off[] = "switch the load off and unplug it first.";
static const char high_supply[] = "24 V: never a 12 V lamp across the pair.";
static const char air_bag[] =
    "air bags: the maker's waiting time, trained people only.";

/* Volts from which a vehicle has two batteries in a row; amperes that only starters and winches draw. */
static const double two_batteries = 18, heavy = 60;

static void add_first(text_list *out, rl_texts texts, size_t count)
{
    assert(count <= texts.count);
    for (size_t i = 0; i < count; i++)
        list_add_new(out, texts.text[i]);
}

static void add_all(text_list *out, rl_texts texts)
{
    add_first(out, texts, texts.count);
}

/* Whether id, label, class or kind of an element speaks of `word`. */
static int speaks_of(const rl_model *model, const rl_element *e, const char *word)
{
    if (text_within(e->id, word) || text_within(e->label, word) || text_within(e->class_name, word))
        return 1;
    return e->kind >= 0 && text_within(rl_model_kind(model, (size_t)e->kind)->label, word);
}

/* A point with nothing behind it is the battery post; what returns straight
 * to it, or is called a strap, carries the whole current. */
static int main_return(const rl_model *model, size_t element)
{
    const rl_element *e = rl_model_element(model, element);
    const int *via;
    size_t count;
    int parent = -1, beyond = -1;
    if (e->sort != RL_POINT)
        return 0;
    if (speaks_of(model, e, "strap") || !rl_model_way(model, element, 0, &parent, &via, &count) || parent < 0)
        return 1;
    return !rl_model_way(model, (size_t)parent, 0, &beyond, &via, &count) || beyond < 0;
}

static int is_air_bag(const rl_model *model, const rl_element *e)
{
    static const char *const word[] = { "air bag", "airbag", "air_bag", "air-bag", "restraint" };
    for (size_t i = 0; i < sizeof word / sizeof *word; i++)
        if (speaks_of(model, e, word[i]))
            return 1;
    return 0;
}

/* `undone`: it is taken apart or moved, not only seen or touched with a lead. */
static void of_element(text_list *out, const rl_model *model, size_t element, bool undone)
{
    assert(element < rl_model_vehicle(model)->elements);
    const rl_element *e = rl_model_element(model, element);
    if (main_return(model, element))
        list_add_new(out, at_the_post);
    if (is_air_bag(model, e) || (e->load >= 0 && is_air_bag(model, rl_model_element(model, (size_t)e->load))))
        list_add_new(out, air_bag);
    add_first(out, e->cautions, undone ? e->cautions.count : e->cautions.count - e->derived);
    if (e->area >= 0)
        add_all(out, rl_model_area(model, (size_t)e->area)->cautions);
}

void cautions_of_element(text_list *out, const rl_model *model, size_t element)
{
    of_element(out, model, element, true);
}

/* Whether a test takes something apart: an inspection may move what it looks at. */
static bool undoes(rl_test_sort sort)
{
    return sort == RL_TEST_INSPECTION || sort == RL_TEST_SWAP || sort == RL_TEST_RESISTANCE
           || sort == RL_TEST_CONTINUITY;
}

static void of_supply(text_list *out, const rl_model *model)
{
    if (rl_model_vehicle(model)->supply >= two_batteries)
        list_add_new(out, high_supply);
}

/* Whether some way from one element to the battery passes another. */
static int passes(const rl_model *model, size_t from, size_t through)
{
    size_t elements = rl_model_vehicle(model)->elements, depth = 0;
    size_t *stack = tool_take((elements + 1) * sizeof *stack);
    char *seen = tool_take(elements + 1);
    stack[depth++] = from;
    seen[from] = 1;
    while (depth > 0 && !seen[through]) {
        size_t at = stack[--depth], count;
        const int *via;
        int parent;
        for (size_t which = 0; rl_model_way(model, at, which, &parent, &via, &count); which++) {
            for (size_t v = 0; v < count; v++)
                seen[via[v]] = 1;
            if (parent >= 0 && !seen[parent]) {
                seen[parent] = 1;
                stack[depth++] = (size_t)parent;
            }
        }
    }
    int found = seen[through];
    free(stack);
    free(seen);
    return found;
}

/* Whether an air-bag unit has this element on one of its ways to the battery. */
static int carries_air_bag(const rl_model *model, size_t element)
{
    size_t elements = rl_model_vehicle(model)->elements;
    for (size_t i = 0; i < elements; i++) {
        const rl_element *load = rl_model_element(model, i);
        if (load->sort == RL_LOAD && load->wire >= 0 && is_air_bag(model, load)
            && passes(model, (size_t)load->wire, element))
            return 1;
    }
    return 0;
}

static void of_heavy_load(text_list *out, const rl_model *model, const rl_test *test)
{
    if (test->subject < 0)
        return;
    const rl_element *e = rl_model_element(model, (size_t)test->subject);
    if (e->current >= heavy || speaks_of(model, e, "starter") || speaks_of(model, e, "winch")
        || speaks_of(model, e, "crank"))
        list_add_new(out, heavy_current);
}

/* Whether the cautions of an element of the test speak of the post already. */
static int touches_main(const rl_model *model, const rl_test *test)
{
    return (test->from >= 0 && main_return(model, (size_t)test->from))
           || (test->to >= 0 && main_return(model, (size_t)test->to));
}

static void of_manner(text_list *out, const rl_model *model, const rl_test *test)
{
    switch (test->sort) {
    case RL_TEST_RESISTANCE:
    case RL_TEST_CONTINUITY:
        list_add_new(out, dead_circuit);
        list_add_new(out, battery_off);
        list_add_new(out, at_the_post);
        break;
    case RL_TEST_BYPASS:
    case RL_TEST_BYPASS_AT:
        list_add_new(out, with_bypass);
        of_supply(out, model);
        break;
    case RL_TEST_JUMPER:
        list_add_new(out, with_jumper);
        of_supply(out, model);
        break;
    case RL_TEST_SWAP:
        list_add_new(out, swap_off);
        of_supply(out, model);
        break;
    case RL_TEST_DROP:
    case RL_TEST_SUPPLY:
        if (test->to < 0 && !touches_main(model, test))   /* a drop's other end by default, a supply's always */
            list_add_new(out, lead_on_post);
        of_supply(out, model);
        break;
    case RL_TEST_BEHAVIOUR:
    case RL_TEST_SYMPTOM:
    case RL_TEST_INSPECTION:
    case RL_TEST_BACKFEED:
    case RL_TEST_PULL:
        break;
    }
}

void cautions_of_test(text_list *out, const rl_model *model, const rl_test *test)
{
    const int touched[] = { test->subject, test->other, test->from, test->to };
    of_manner(out, model, test);
    if (test->sort != RL_TEST_INSPECTION)
        of_heavy_load(out, model, test);
    for (size_t i = 0; i < sizeof touched / sizeof *touched; i++)
        if (touched[i] >= 0)
            of_element(out, model, (size_t)touched[i], undoes(test->sort));
    if (test->sort == RL_TEST_SYMPTOM && test->named >= 0)
        add_all(out, rl_model_symptom(model, (size_t)test->named)->cautions);
    for (size_t i = 0; i < 2; i++)
        if (test->areas[i] >= 0)
            add_all(out, rl_model_area(model, (size_t)test->areas[i])->cautions);
}

void cautions_of_repair(text_list *out, const rl_model *model, size_t element)
{
    assert(element < rl_model_vehicle(model)->elements);
    const rl_element *e = rl_model_element(model, element);
    int is_main = main_return(model, element), air = carries_air_bag(model, element);
    if (air)
        list_add_new(out, air_bag);
    if (e->sort == RL_LOAD)
        list_add_new(out, load_off);
    else if (e->sort == RL_FEED)
        list_add_new(out, feed_off);
    else if (!is_main)
        list_add_new(out, joint_off);
    if (is_main || air || (e->sort == RL_FEED && e->rated >= heavy))
        list_add_new(out, battery_off);
    of_supply(out, model);
    cautions_of_element(out, model, element);
}

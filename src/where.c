/* where.c: where an element is: area, way to get there, cautions, path to
 * the battery, torque, notes.  Invariant: cautions come before the rest. */
#include "where.h"

#include "cautions.h"
#include "words.h"

#include <assert.h>

enum { LONGEST_PATH = 64, MOST_NAMES = 12 };   /* the first is a guard: the ways of a model have no cycles */

static void say(const screen *sc, const char *first, const text *safe)
{
    term_wrap(sc, first, term_cells(first), text_get(safe));
}

static void say_all(const screen *sc, const char *first, size_t count, const char *const *item)
{
    for (size_t i = 0; i < count; i++) {
        text line = { 0 };
        term_safe(&line, item[i]);
        say(sc, first, &line);
        text_free(&line);
    }
}

void where_cautions(const screen *sc, const text_list *cautions)
{
    say_all(sc, "  Caution: ", cautions->count, (const char *const *)cautions->item);
}

static void put_via(text *out, const rl_model *model, const int *via, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        text_add(out, ", through ");
        words_name(out, model, (size_t)via[i]);
    }
}

/* The way from an element by alternative `which`, then by the first of each. */
static void put_path(text *out, const rl_model *model, size_t element, size_t which)
{
    const int *via;
    size_t count;
    int parent;
    words_name(out, model, element);
    for (int step = 0; step < LONGEST_PATH && rl_model_way(model, element, which, &parent, &via, &count); step++) {
        put_via(out, model, via, count);
        which = 0;
        if (parent < 0)
            break;
        text_add(out, ", ");
        words_name(out, model, (size_t)parent);
        element = (size_t)parent;
    }
    text_add(out, ", battery.");
}

static void say_paths(const screen *sc, const rl_model *model, size_t element, const char *first, const char *more)
{
    const int *via;
    size_t count;
    int parent;
    for (size_t which = 0; which == 0 || rl_model_way(model, element, which, &parent, &via, &count); which++) {
        text line = { 0 };
        put_path(&line, model, element, which);
        say(sc, which == 0 ? first : more, &line);
        text_free(&line);
    }
}

static void say_ways(const screen *sc, const rl_model *model, size_t element)
{
    const rl_element *e = rl_model_element(model, element);
    const int *via;
    size_t count;
    int parent;
    if (e->sort == RL_LOAD) {
        if (e->wire >= 0)
            say_paths(sc, model, (size_t)e->wire, "  Returns by ", "  or by ");
        if (rl_model_way(model, element, 0, &parent, &via, &count))
            say_paths(sc, model, element, "  Fed by ", "  or by ");
    } else if (e->sort == RL_FEED) {
        say_paths(sc, model, element, "  Fed by ", "  or by ");
    } else if (e->sort != RL_CONNECTOR) {
        say_paths(sc, model, element, "  Path to battery: ", "  or: ");
    }
}

static void put_access(text *out, const rl_area *a)
{
    term_safe(out, a->label);
    text_add(out, ", to open it ");
    words_minutes(out, a->access);
}

static void say_number(const screen *sc, const char *what, double number, const char *unit)
{
    if (number > 0)
        fprintf(sc->out, "  %s: %.4g %s\n", what, number, unit);
}

static void say_forbidden(const screen *sc, unsigned forbidden)
{
    static const struct { unsigned bit; const char *word; } test[] = {
        { RL_NO_PROBE, "probe" }, { RL_NO_BYPASS, "bypass" }, { RL_NO_JUMPER, "jumper" },
        { RL_NO_SWAP, "swap" }, { RL_NO_DISCONNECT, "disconnect" },
    };
    text line = { 0 };
    for (size_t i = 0; i < sizeof test / sizeof *test; i++)
        if (forbidden & test[i].bit)
            text_add(&line, "%s%s", line.length > 0 ? ", " : "", test[i].word);
    if (line.length > 0)
        say(sc, "  Do not: ", &line);
    text_free(&line);
}

static void say_repair(const screen *sc, const rl_element *e)
{
    if (e->repair_minutes < 0 && e->repair_text == NULL)
        return;
    text line = { 0 };
    if (e->repair_text != NULL)
        term_safe(&line, e->repair_text);
    if (e->repair_minutes >= 0) {
        text_add(&line, line.length > 0 ? ", " : "");
        words_minutes(&line, e->repair_minutes);
    }
    say(sc, "  Repair: ", &line);
    text_free(&line);
}

/* Names as a list, the first ones only where there are many. */
static void say_names(const screen *sc, const char *first, const text_list *names)
{
    text line = { 0 };
    for (size_t i = 0; i < names->count && i < MOST_NAMES; i++) {
        text_add(&line, line.length > 0 ? ", " : "");
        term_safe(&line, names->item[i]);
    }
    if (names->count > MOST_NAMES)
        text_add(&line, " and %zu more", names->count - MOST_NAMES);
    if (line.length > 0)
        say(sc, first, &line);
    text_free(&line);
}

static bool returns_by(const rl_model *model, size_t element, size_t through)
{
    const int *via;
    size_t count;
    int parent;
    for (size_t which = 0; rl_model_way(model, element, which, &parent, &via, &count); which++) {
        if (parent == (int)through)
            return true;
        for (size_t i = 0; i < count; i++)
            if (via[i] == (int)through)
                return true;
    }
    return false;
}

/* What lies around it: what sits in the same place, and what is joined to it. */
static void say_around(const screen *sc, const rl_model *model, size_t element)
{
    const rl_element *e = rl_model_element(model, element);
    text_list place = { 0 }, joined = { 0 };
    size_t elements = rl_model_vehicle(model)->elements;
    for (size_t i = 0; i < elements; i++) {
        const rl_element *other = rl_model_element(model, i);
        if (i == element)
            continue;
        if (other->area == e->area && e->area >= 0 && other->sort != RL_WIRE)
            list_add(&place, other->id);
        if (returns_by(model, i, element))
            list_add_new(&joined, other->sort == RL_WIRE ? rl_model_element(model, (size_t)other->load)->id : other->id);
    }
    say_names(sc, "  In the same place: ", &place);
    say_names(sc, e->sort == RL_FEED ? "  Feeds: " : "  Joined to it: ", &joined);
    list_free(&place);
    list_free(&joined);
}

void where_about(const screen *sc, const rl_model *model, size_t element)
{
    const rl_element *e = rl_model_element(model, element);
    text line = { 0 };
    say_forbidden(sc, e->forbidden);
    if (e->area >= 0)
        put_access(&line, rl_model_area(model, (size_t)e->area));
    else
        text_add(&line, "no area is named in the rules");
    say(sc, "  Where: ", &line);
    say_around(sc, model, element);
    say_ways(sc, model, element);
    say_number(sc, "Torque", e->torque, "Nm");
    say_number(sc, "Rated", e->rated, "A");
    say_number(sc, "Draws", e->current, "A");
    say_repair(sc, e);
    say_all(sc, "  Note: ", e->notes.count, e->notes.text);
    say_all(sc, "  Source: ", e->sources.count, e->sources.text);
    text_free(&line);
}

void where_element(const screen *sc, const rl_model *model, size_t element)
{
    assert(element < rl_model_vehicle(model)->elements);
    const rl_element *e = rl_model_element(model, element);
    text line = { 0 };
    text_list cautions = { 0 };
    words_name(&line, model, element);
    text_add(&line, ", %s, %s ", rl_sort_text(e->sort), e->sort == RL_LOAD ? "kind" : "class");
    term_safe(&line, e->class_name);
    say(sc, "", &line);
    cautions_of_element(&cautions, model, element);
    where_cautions(sc, &cautions);
    where_about(sc, model, element);
    list_free(&cautions);
    text_free(&line);
}

void where_area(const screen *sc, const rl_model *model, size_t area)
{
    const rl_area *a = rl_model_area(model, area);
    size_t elements = rl_model_vehicle(model)->elements;
    text line = { 0 };
    put_access(&line, a);
    say(sc, "Area ", &line);
    say_all(sc, "  Caution: ", a->cautions.count, a->cautions.text);
    say_forbidden(sc, a->forbidden);
    say_all(sc, "  Note: ", a->notes.count, a->notes.text);
    text_clear(&line);
    for (size_t i = 0; i < elements; i++) {
        if (rl_model_element(model, i)->area != (int)area)
            continue;
        text_add(&line, line.length > 0 ? ", " : "");
        term_safe(&line, rl_model_element(model, i)->id);
    }
    if (line.length > 0)
        say(sc, "  Holds: ", &line);
    text_free(&line);
}

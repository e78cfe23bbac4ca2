/* closing.c: a proven case goes to the case log, with what was found.
 *
 * Invariant: a `found` line is added only for a state that the findings leave
 * possible.
 */
#include "closing.h"

#include "repair.h"
#include "words.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* ---- what was found ---- */

typedef struct finder {
    text *found, *why;
    const rl_model *model;
    rl_case *c;
    const rl_answer *answer;
} finder;

static bool said_already(const finder *f, const char *line)
{
    for (size_t i = 0; i < rl_case_lines(f->c); i++)
        if (!rl_case_line(f->c, i)->replaced && strcmp(rl_case_line(f->c, i)->text, line) == 0)
            return true;
    return false;
}

static bool add_found(finder *f, size_t element, rl_state state)
{
    const rl_element *e = rl_model_element(f->model, element);
    if (f->answer->belief[element].p[state] <= 0) {
        text_add(f->why, e->prior[state] <= 0 ? "`%s` cannot be %s by the rules"
                                              : "`%s` cannot have been %s: the findings rule it out",
                 e->id, rl_state_text(state));
        return false;
    }
    text line = { 0 };
    text_add(&line, "found %s %s", e->id, rl_state_text(state));
    if (!said_already(f, text_get(&line)))
        text_add(f->found, "%s\n", text_get(&line));
    text_free(&line);
    return true;
}

static bool is_state_of(const rl_element *e, int state)
{
    return state != RL_SOUND && (e->sort == RL_LOAD) == (state == RL_FAILED);
}

static bool find_state(finder *f, const rl_element *e, const char *word, rl_state *state)
{
    for (int s = RL_SOUND; s < RL_STATES; s++)
        if (strcmp(rl_state_text((rl_state)s), word) == 0 && is_state_of(e, s)) {
            *state = (rl_state)s;
            return true;
        }
    text_add(f->why, "`%s` is no fault that `%s` can have: a %s is %s", word, e->id, rl_sort_text(e->sort),
             e->sort == RL_LOAD ? "failed" : "loose, corroded or open");
    return false;
}

static bool found_one(finder *f, const char *name, const char *word)
{
    rl_state state;
    int element = repair_element(f->model, name, f->why);
    if (element < 0)
        return false;
    if (word == NULL)
        state = words_worst(&f->answer->belief[element]);
    else if (!find_state(f, rl_model_element(f->model, (size_t)element), word, &state))
        return false;
    return add_found(f, (size_t)element, state);
}

/* The words one by one: a name, then maybe its state. */
static bool found_words(finder *f, char *copy)
{
    const char *name = NULL;
    char *rest = NULL;
    for (char *word = strtok_r(copy, " \t,:", &rest); word != NULL; word = strtok_r(NULL, " \t,:", &rest)) {
        bool joins = strcmp(word, "and") == 0;
        if (name == NULL && joins)
            continue;
        if (name == NULL) {
            name = word;
            continue;
        }
        bool next = joins || rl_model_find(f->model, word) >= 0;
        if (!found_one(f, name, next ? NULL : word))
            return false;
        name = next && !joins ? word : NULL;
    }
    return name == NULL || found_one(f, name, NULL);
}

static bool found_by_default(finder *f, size_t element)
{
    const rl_fault *fault;
    const rl_proof *proof;
    size_t count;
    bool only, good = true;
    if (rl_case_found(f->c, &fault, &count, &only) == RL_OK && (count > 0 || only))
        return true;
    if (!add_found(f, element, words_worst(&f->answer->belief[element])))
        return false;
    if (rl_case_proof(f->c, element, &proof) != RL_OK)
        return true;
    for (size_t i = 0; good && i < proof->repaired_count; i++) {
        const rl_belief *belief = &f->answer->belief[proof->repaired[i]];
        if (proof->repaired[i] != element && words_not_sound(belief) > 0.5)
            good = add_found(f, proof->repaired[i], words_worst(belief));
    }
    return good;
}

bool closing_found(text *found, text *why, const rl_model *model, rl_case *c, size_t element, const char *words)
{
    finder f = { found, why, model, c, NULL };
    rl_status status = rl_case_answer(c, &f.answer);
    assert(status == RL_OK);
    (void)status;
    if (words[0] == '\0')
        return found_by_default(&f, element);
    char *copy = tool_copy(words, strlen(words));
    bool good = found_words(&f, copy);
    if (good && found->length == 0 && strspn(words, " \t,:") == strlen(words)) {
        text_add(why, "what was found is missing");
        good = false;
    }
    free(copy);
    return good;
}

/* ---- the log ---- */

static void put_lines(text *out, const rl_case *c)
{
    for (size_t i = 0; i < rl_case_lines(c); i++)
        if (!rl_case_line(c, i)->replaced)
            text_add(out, "%s\n", rl_case_line(c, i)->text);
}

void closing_tag(const rl_model *model, const rl_case *c, char tag[CASELOG_TAG + 1])
{
    text whole = { 0 };
    assert(rl_model_vehicle(model)->id[0] != '\0');
    text_add(&whole, "%s\n%s\n", rl_model_vehicle(model)->id, rl_case_name(c));
    put_lines(&whole, c);
    caselog_tag_of(whole.bytes, whole.length, tag);
    text_free(&whole);
}

caselog_result closing_append(const rl_model *model, const rl_case *c, const char *log, const char *tag,
                              caselog_note *note, text *why)
{
    text lines = { 0 };
    put_lines(&lines, c);
    const caselog_case entry = { .tag = tag, .name = rl_case_name(c), .vehicle = rl_model_vehicle(model)->id,
                                 .label = rl_case_label(c), .lines = text_get(&lines) };
    caselog_result result = caselog_append(log, &entry, note, why);
    text_free(&lines);
    return result;
}

void closing_words(text *out, caselog_result result, const char *log, const caselog_note *note)
{
    assert(result != CASELOG_FAILED);
    text_add(out, result == CASELOG_ADDED ? "Closed: case \"%s\" is in the case log %s."
                                          : "This case is in the log already, as \"%s\": %s is as it was.",
             text_get(&note->name), log);
    if (note->torn > 0)
        text_add(out, " An append that a crash cut off was found there: its %zu line%s stand%s as comments now "
                      "(# torn).", note->torn, note->torn == 1 ? "" : "s", note->torn == 1 ? "s" : "");
    if (note->others)
        text_add(out, " The log holds cases of other vehicles too: `rank`, `check` and the others leave "
                      "them out with --own.");
}

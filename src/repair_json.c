/* repair_json.c: the sheet and the proof of a repair as JSON.
 *
 * Invariant: units are those of ringlug.h: V, A, minutes, Nm, probabilities.
 */
#include "repair.h"

#include "cautions.h"
#include "json.h"
#include "status.h"
#include "words.h"
#include "words_repair.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

static void no_memory(void)
{
    fputs("ringlug: out of memory\n", stderr);
    exit(TOOL_MACHINE);
}

static void set(json_t *object, const char *key, json_t *value)
{
    if (json_object_set_new(object, key, value) != 0)
        no_memory();
}

static void append(json_t *list, json_t *value)
{
    if (json_array_append_new(list, value) != 0)
        no_memory();
}

static json_t *number(double value)
{
    return isfinite(value) ? json_real(value) : json_null();
}

static json_t *range(double low, double high)
{
    json_t *list = json_array();
    append(list, number(low));
    append(list, number(high));
    return list;
}

static json_t *words(const text_list *list)
{
    json_t *array = json_array();
    for (size_t i = 0; i < list->count; i++)
        append(array, json_words(list->item[i]));
    return array;
}

static json_t *line_of(const rl_case *c, size_t line)
{
    return line == SIZE_MAX ? json_null() : json_words(rl_case_line(c, line)->text);
}

static json_t *area(const rl_model *model, rl_case *c, const rl_element *e)
{
    if (e->area < 0)
        return json_null();
    const rl_area *a = rl_model_area(model, (size_t)e->area);
    bool *open = tool_take((rl_model_vehicle(model)->areas + 1) * sizeof *open);
    json_t *object = json_object();
    set(object, "id", json_words(a->id));
    set(object, "label", json_words(a->label));
    set(object, "minutes", number(a->access));
    if (rl_case_open_areas(c, open) == RL_OK)
        set(object, "open", json_boolean(open[e->area]));
    free(open);
    return object;
}

static json_t *complaint(const rl_case *c, const rl_complaint *x)
{
    json_t *object = json_object();
    set(object, "look", json_words(x->text));
    set(object, "line", line_of(c, x->line));
    set(object, "again", line_of(c, x->again));
    set(object, "must", json_boolean(x->must));
    set(object, "gone", json_boolean(x->again != SIZE_MAX && x->gone));
    return object;
}

static json_t *reading(const rl_model *model, const rl_proof_reading *r)
{
    json_t *object = json_object(), *also = json_array();
    text_list cautions = { 0 };
    cautions_of_test(&cautions, model, &r->test);
    for (size_t i = 0; i < r->also_count; i++)
        append(also, json_words(rl_model_element(model, r->also[i])->id));
    set(object, "cautions", words(&cautions));
    set(object, "test", json_words(r->test.text));
    set(object, "also", also);
    set(object, "current", number(r->current));
    set(object, r->test.sort == RL_TEST_DROP ? "at_most" : "at_least", number(r->bound));
    if (r->test.sort == RL_TEST_DROP)
        set(object, "limit", number(r->test.limit));
    set(object, "healthy", range(r->test.healthy_low, r->test.healthy_high));
    set(object, "bad", range(r->test.suspect_low, r->test.suspect_high));
    set(object, "shows", json_boolean(r->shows));
    set(object, "minutes", number(r->test.minutes));
    list_free(&cautions);
    return object;
}

static json_t *taken(const rl_case *c, const rl_taken *t)
{
    static const char *const word[] = { "good", "beyond", "faint" };
    assert(t->word <= RL_TAKEN_FAINT);
    json_t *object = json_object();
    set(object, "line", line_of(c, t->line));
    set(object, "value", number(t->value));
    set(object, t->supply ? "at_least" : "at_most", number(t->bound));
    set(object, "healthy", range(t->healthy_low, t->healthy_high));
    set(object, "shows", json_boolean(t->shows));
    set(object, "is", json_string(word[t->word]));
    return object;
}

static json_t *proof_object(const rl_model *model, const rl_case *c, const rl_proof *proof)
{
    json_t *object = json_object(), *complaints = json_array(), *readings = json_array(), *takens = json_array();
    for (size_t i = 0; i < proof->complaints; i++)
        append(complaints, complaint(c, &proof->complaint[i]));
    for (size_t i = 0; i < proof->readings; i++)
        append(readings, reading(model, &proof->reading[i]));
    for (size_t i = 0; i < proof->takens; i++)
        append(takens, taken(c, &proof->taken[i]));
    set(object, "verdict", json_string(words_verdict_word(proof->verdict)));
    set(object, "complaints", complaints);
    set(object, "readings", readings);
    set(object, "taken", takens);
    set(object, "at_fault", number(proof->at_fault));
    set(object, "rest", number(proof->rest));
    set(object, "rest_before", number(proof->rest_before));
    set(object, "none_else", number(proof->none_else));
    set(object, "next_suspect", proof->suspect < 0
                                    ? json_null()
                                    : json_words(rl_model_element(model, (size_t)proof->suspect)->id));
    return object;
}

static void fill(json_t *object, const rl_model *model, rl_case *c, size_t element, const rl_answer *answer)
{
    const rl_element *e = rl_model_element(model, element);
    text_list cautions = { 0 };
    json_t *repair = json_object();
    cautions_of_repair(&cautions, model, element);
    set(object, "suspect", json_words(e->id));
    set(object, "label", json_words(e->label));
    set(object, "state", json_string(rl_state_text(words_worst(&answer->belief[element]))));
    set(object, "at_fault", number(words_not_sound(&answer->belief[element])));
    set(object, "cautions", words(&cautions));
    set(object, "area", area(model, c, e));
    set(repair, "text", e->repair_text != NULL ? json_words(e->repair_text) : json_null());
    set(repair, "minutes", e->repair_minutes >= 0 ? number(e->repair_minutes) : json_null());
    set(repair, "torque", e->torque > 0 ? number(e->torque) : json_null());
    set(object, "repair", repair);
    list_free(&cautions);
}

rl_status repair_json(FILE *out, const rl_model *model, rl_case *c, size_t element)
{
    const rl_answer *answer;
    const rl_proof *proof;
    rl_status status = rl_case_answer(c, &answer);
    if (status == RL_OK)
        status = rl_case_proof(c, element, &proof);
    if (status != RL_OK)
        return status;
    json_t *object = json_object();
    set(object, "case", json_words(rl_case_name(c)));
    fill(object, model, c, element, answer);
    set(object, "proof", proof_object(model, c, proof));
    json_print(out, object);
    return RL_OK;
}

void repair_json_contradiction(FILE *out, rl_case *c)
{
    const size_t *lines;
    size_t count;
    json_t *object = json_object(), *list = json_array();
    if (rl_case_contradiction(c, &lines, &count) == RL_OK)
        for (size_t i = 0; i < count; i++)
            append(list, line_of(c, lines[i]));
    set(object, "case", json_words(rl_case_name(c)));
    set(object, "suspect", json_null());
    set(object, "proof", json_null());
    set(object, "contradiction", list);
    json_print(out, object);
}

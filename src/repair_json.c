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

static json_t *words(const text_list *list)
{
    json_t *array = json_array();
    for (size_t i = 0; i < list->count; i++)
        json_add(array, json_words(list->item[i]));
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
    json_put(object, "id", json_words(a->id));
    json_put(object, "label", json_words(a->label));
    json_put(object, "minutes", json_number_of(a->access));
    if (rl_case_open_areas(c, open) == RL_OK)
        json_put(object, "open", json_boolean(open[e->area]));
    free(open);
    return object;
}

static json_t *complaint(const rl_case *c, const rl_complaint *x)
{
    json_t *object = json_object();
    json_put(object, "look", json_words(x->text));
    json_put(object, "line", line_of(c, x->line));
    json_put(object, "again", line_of(c, x->again));
    json_put(object, "must", json_boolean(x->must));
    json_put(object, "gone", json_boolean(x->again != SIZE_MAX && x->gone));
    return object;
}

static json_t *reading(const rl_model *model, const rl_proof_reading *r)
{
    json_t *object = json_object(), *also = json_array();
    text_list cautions = { 0 };
    cautions_of_test(&cautions, model, &r->test);
    for (size_t i = 0; i < r->also_count; i++)
        json_add(also, json_words(rl_model_element(model, r->also[i])->id));
    json_put(object, "cautions", words(&cautions));
    json_put(object, "test", json_words(r->test.text));
    json_put(object, "also", also);
    json_put(object, "current", json_number_of(r->current));
    json_put(object, r->test.sort == RL_TEST_DROP ? "at_most" : "at_least", json_number_of(r->bound));
    if (r->test.sort == RL_TEST_DROP)
        json_put(object, "limit", json_number_of(r->test.limit));
    json_put(object, "healthy", json_range(r->test.healthy_low, r->test.healthy_high));
    json_put(object, "bad", json_range(r->test.suspect_low, r->test.suspect_high));
    json_put(object, "shows", json_boolean(r->shows));
    json_put(object, "minutes", json_number_of(r->test.minutes));
    list_free(&cautions);
    return object;
}

static json_t *taken(const rl_case *c, const rl_taken *t)
{
    static const char *const word[] = { "good", "beyond", "faint" };
    assert(t->word <= RL_TAKEN_FAINT);
    json_t *object = json_object();
    json_put(object, "line", line_of(c, t->line));
    json_put(object, "value", json_number_of(t->value));
    json_put(object, t->supply ? "at_least" : "at_most", json_number_of(t->bound));
    json_put(object, "healthy", json_range(t->healthy_low, t->healthy_high));
    json_put(object, "shows", json_boolean(t->shows));
    json_put(object, "is", json_string(word[t->word]));
    return object;
}

static json_t *proof_object(const rl_model *model, const rl_case *c, const rl_proof *proof)
{
    json_t *object = json_object(), *complaints = json_array(), *readings = json_array(), *takens = json_array();
    for (size_t i = 0; i < proof->complaints; i++)
        json_add(complaints, complaint(c, &proof->complaint[i]));
    for (size_t i = 0; i < proof->readings; i++)
        json_add(readings, reading(model, &proof->reading[i]));
    for (size_t i = 0; i < proof->takens; i++)
        json_add(takens, taken(c, &proof->taken[i]));
    json_put(object, "verdict", json_string(words_verdict_word(proof->verdict)));
    json_put(object, "complaints", complaints);
    json_put(object, "readings", readings);
    json_put(object, "taken", takens);
    json_put(object, "at_fault", json_number_of(proof->at_fault));
    json_put(object, "rest", json_number_of(proof->rest));
    json_put(object, "rest_before", json_number_of(proof->rest_before));
    json_put(object, "none_else", json_number_of(proof->none_else));
    json_put(object, "next_suspect", proof->suspect < 0
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
    json_put(object, "suspect", json_words(e->id));
    json_put(object, "label", json_words(e->label));
    json_put(object, "state", json_string(rl_state_text(words_worst(&answer->belief[element]))));
    json_put(object, "at_fault", json_number_of(words_not_sound(&answer->belief[element])));
    json_put(object, "cautions", words(&cautions));
    json_put(object, "area", area(model, c, e));
    json_put(repair, "text", e->repair_text != NULL ? json_words(e->repair_text) : json_null());
    json_put(repair, "minutes", e->repair_minutes >= 0 ? json_number_of(e->repair_minutes) : json_null());
    json_put(repair, "torque", e->torque > 0 ? json_number_of(e->torque) : json_null());
    json_put(object, "repair", repair);
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
    json_put(object, "case", json_words(rl_case_name(c)));
    fill(object, model, c, element, answer);
    json_put(object, "proof", proof_object(model, c, proof));
    json_print(out, object);
    return RL_OK;
}

void repair_json_none(FILE *out, rl_case *c)
{
    json_t *object = json_object();
    json_put(object, "case", json_words(rl_case_name(c)));
    json_put(object, "suspect", json_null());
    json_put(object, "proof", json_null());
    if (rl_case_damaged(c))
        json_put(object, "damaged", json_true());
    else
        json_contradiction(object, c);
    json_print(out, object);
}

/* json.c: answers as JSON, with the fields of design §5.
 *
 * Invariant: numbers are printed with 17 digits, so that they read back
 * exactly; a number that JSON cannot say (infinite) is null.
 */
#include "json.h"

#include "status.h"
#include "term.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

static void no_memory(void)
{
    fputs("ringlug: out of memory\n", stderr);
    exit(TOOL_MACHINE);
}

static json_t *number(double value)
{
    json_t *n = isfinite(value) ? json_real(value) : json_null();
    if (n == NULL)
        no_memory();
    return n;
}

json_t *json_words(const char *words)
{
    json_t *string = json_string(words);
    if (string == NULL) {
        text safe = { 0 };
        term_safe(&safe, words);
        string = json_string(text_get(&safe));
        text_free(&safe);
    }
    if (string == NULL)
        no_memory();
    return string;
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

static json_t *element(const rl_element *e, const rl_belief *belief)
{
    json_t *object = json_object(), *p = json_object();
    set(object, "id", json_words(e->id));
    set(object, "sort", json_words(rl_sort_text(e->sort)));
    for (int state = RL_SOUND; state < RL_STATES; state++)
        if (state == RL_SOUND || (e->sort == RL_LOAD) == (state == RL_FAILED))
            set(p, rl_state_text((rl_state)state), number(belief->p[state]));
    set(object, "p", p);
    return object;
}

static json_t *elements(const rl_model *model, const rl_answer *answer)
{
    json_t *list = json_array();
    size_t count = rl_model_vehicle(model)->elements;
    for (size_t i = 0; i < count; i++)
        append(list, element(rl_model_element(model, i), &answer->belief[i]));
    return list;
}

static json_t *shares_object(const rl_shares *shares)
{
    json_t *object = json_object();
    set(object, "return", number(shares->of_return));
    set(object, "feed", number(shares->of_feed));
    set(object, "load", number(shares->of_load));
    set(object, "none", number(shares->none));
    return object;
}

static json_t *explanation(const rl_model *model, const rl_explanation *x)
{
    json_t *object = json_object(), *faults = json_array();
    for (size_t i = 0; i < x->count; i++) {
        json_t *fault = json_object();
        set(fault, "id", json_words(rl_model_element(model, x->faults[i].element)->id));
        set(fault, "state", json_words(rl_state_text(x->faults[i].state)));
        append(faults, fault);
    }
    set(object, "p", number(x->p));
    set(object, "faults", faults);
    return object;
}

static rl_status explanations(json_t *list, const rl_model *model, rl_case *c, size_t most)
{
    const rl_explanation *x;
    size_t count;
    rl_status status = rl_case_explain(c, most, &x, &count);
    for (size_t i = 0; status == RL_OK && i < count; i++)
        append(list, explanation(model, &x[i]));
    return status;
}

static rl_status next(json_t *list, rl_case *c, size_t most)
{
    const rl_test *test;
    size_t count;
    rl_status status = rl_case_best_tests(c, most, &test, &count);
    for (size_t i = 0; status == RL_OK && i < count; i++) {
        json_t *object = json_object();
        set(object, "test", json_words(test[i].text));
        if (test[i].bits >= 0)   /* else it would take too wide a table */
            set(object, "bits", number(test[i].bits));
        set(object, "minutes", number(test[i].minutes));
        append(list, object);
    }
    return status;
}

static rl_status contradiction(json_t *object, rl_case *c)
{
    const size_t *lines;
    size_t count;
    json_t *list = json_array();
    rl_status status = rl_case_contradiction(c, &lines, &count);
    for (size_t i = 0; status == RL_OK && i < count; i++)
        append(list, json_words(rl_case_line(c, lines[i])->text));
    set(object, "contradiction", list);
    return status;
}

static rl_status fill(json_t *object, const rl_model *model, rl_case *c, size_t most_explanations, size_t most_tests)
{
    const rl_answer *answer;
    const rl_shares *shares;
    rl_status status = rl_case_answer(c, &answer);
    if (status == RL_OK)
        status = rl_case_shares(c, &shares);
    if (status != RL_OK)
        return status;
    set(object, "log_evidence", number(answer->log_evidence));
    set(object, "elements", elements(model, answer));
    set(object, "shares", shares_object(shares));
    if (answer->bounded) {
        json_t *bound = json_object();
        set(bound, "faults", json_integer(answer->faults));
        set(bound, "neglected", number(answer->neglected));
        set(object, "bounded", bound);
    }
    status = explanations(json_object_get(object, "explanations"), model, c, most_explanations);
    if (status != RL_OK)
        return status;
    return next(json_object_get(object, "next"), c, most_tests);
}

rl_status json_rank(FILE *out, const rl_model *model, rl_case *c, size_t most_explanations, size_t most_tests)
{
    json_t *object = json_object();
    rl_status status = RL_INPUT;
    set(object, "case", json_words(rl_case_name(c)));
    set(object, "log_evidence", json_null());
    set(object, "elements", json_array());
    set(object, "shares", json_null());
    set(object, "explanations", json_array());
    set(object, "next", json_array());
    if (rl_case_damaged(c))
        set(object, "damaged", json_true());
    else
        status = fill(object, model, c, most_explanations, most_tests);
    if (status == RL_CONTRADICTION) {
        rl_status said = contradiction(object, c);
        status = said == RL_OK ? status : said;
    }
    json_print(out, object);
    return status;
}

void json_print(FILE *out, json_t *object)
{
    assert(object != NULL);
    char *line = json_dumps(object, JSON_COMPACT | JSON_REAL_PRECISION(17));
    if (line == NULL)
        no_memory();
    fprintf(out, "%s\n", line);
    free(line);
    json_decref(object);
}

/* json.c: answers as JSON, with the fields of design §5.
 *
 * Invariant: numbers are printed with 17 digits, so that they read back
 * exactly; a number that JSON cannot say (infinite) is null.
 */
#include "json.h"

#include "cautions.h"
#include "recipe.h"
#include "status.h"
#include "term.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

/* What lies behind these nobody is advised to do. */
enum { TESTS_IN_FULL = 32 };

static void no_memory(void)
{
    fputs("ringlug: out of memory\n", stderr);
    exit(TOOL_MACHINE);
}

json_t *json_number_of(double value)
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

void json_put(json_t *object, const char *key, json_t *value)
{
    if (json_object_set_new(object, key, value) != 0)
        no_memory();
}

void json_add(json_t *list, json_t *value)
{
    if (json_array_append_new(list, value) != 0)
        no_memory();
}

static json_t *element(const rl_element *e, const rl_belief *belief)
{
    json_t *object = json_object(), *p = json_object();
    json_put(object, "id", json_words(e->id));
    json_put(object, "sort", json_words(rl_sort_text(e->sort)));
    for (int state = RL_SOUND; state < RL_STATES; state++)
        if (state == RL_SOUND || (e->sort == RL_LOAD) == (state == RL_FAILED))
            json_put(p, rl_state_text((rl_state)state), json_number_of(belief->p[state]));
    json_put(object, "p", p);
    return object;
}

static json_t *elements(const rl_model *model, const rl_answer *answer)
{
    json_t *list = json_array();
    size_t count = rl_model_vehicle(model)->elements;
    for (size_t i = 0; i < count; i++)
        json_add(list, element(rl_model_element(model, i), &answer->belief[i]));
    return list;
}

static json_t *shares_object(const rl_shares *shares)
{
    json_t *object = json_object();
    json_put(object, "return", json_number_of(shares->of_return));
    json_put(object, "feed", json_number_of(shares->of_feed));
    json_put(object, "load", json_number_of(shares->of_load));
    json_put(object, "none", json_number_of(shares->none));
    return object;
}

static json_t *explanation(const rl_model *model, const rl_explanation *x)
{
    json_t *object = json_object(), *faults = json_array();
    for (size_t i = 0; i < x->count; i++) {
        json_t *fault = json_object();
        json_put(fault, "id", json_words(rl_model_element(model, x->faults[i].element)->id));
        json_put(fault, "state", json_words(rl_state_text(x->faults[i].state)));
        json_add(faults, fault);
    }
    json_put(object, "p", json_number_of(x->p));
    json_put(object, "faults", faults);
    return object;
}

static rl_status explanations(json_t *list, const rl_model *model, rl_case *c, size_t most)
{
    const rl_explanation *x;
    size_t count;
    rl_status status = rl_case_explain(c, most, &x, &count);
    for (size_t i = 0; status == RL_OK && i < count; i++)
        json_add(list, explanation(model, &x[i]));
    return status;
}

/* ---- what next ---- */

json_t *json_range(double low, double high)
{
    json_t *list = json_array();
    json_add(list, json_number_of(low));
    json_add(list, json_number_of(high));
    return list;
}

static void set_all(json_t *object, const char *key, const text_list *words)
{
    json_t *list = json_array();
    for (size_t i = 0; i < words->count; i++)
        json_add(list, json_words(words->item[i]));
    json_put(object, key, list);
}

static json_t *steps_of(const rl_model *model, const rl_test *test)
{
    json_t *list = json_array();
    recipe r;
    recipe_make(&r, model, test);
    for (size_t i = 0; i < r.head.count; i++) {
        json_t *step = json_object();
        json_put(step, "step", json_words(r.head.item[i]));
        json_put(step, "text", json_words(r.body.item[i]));
        json_add(list, step);
    }
    recipe_free(&r);
    return list;
}

/* What a reading would show, where it was worked out. */
static void set_ranges(json_t *object, const rl_model *model, const rl_test *test)
{
    if (test->healthy_high > test->healthy_low)
        json_put(object, "healthy", json_range(test->healthy_low, test->healthy_high));
    if (test->suspect >= 0 && test->suspect_high > test->suspect_low) {
        json_put(object, "suspect", json_words(rl_model_element(model, (size_t)test->suspect)->id));
        json_put(object, "at_fault", json_range(test->suspect_low, test->suspect_high));
    }
    if (test->limit > 0)
        json_put(object, "limit", json_number_of(test->limit));
}

/* `whole`: with what it shows and how it is done. */
static json_t *next_test(const rl_model *model, const rl_test *test, bool whole)
{
    json_t *object = json_object(), *areas = json_array();
    text_list cautions = { 0 };
    json_put(object, "test", json_words(test->text));
    if (test->bits >= 0)   /* else it would take too wide a table */
        json_put(object, "bits", json_number_of(test->bits));
    json_put(object, "minutes", json_number_of(test->minutes));
    json_put(object, "seat", json_boolean(rl_test_from_seat(test)));
    for (size_t i = 0; i < 2; i++)
        if (test->areas[i] >= 0)
            json_add(areas, json_words(rl_model_area(model, (size_t)test->areas[i])->id));
    json_put(object, "opens", areas);
    if (!whole)
        return object;
    set_ranges(object, model, test);
    cautions_of_test(&cautions, model, test);
    set_all(object, "cautions", &cautions);
    json_put(object, "recipe", steps_of(model, test));
    list_free(&cautions);
    return object;
}

static rl_status next(json_t *list, const rl_model *model, rl_case *c, size_t most)
{
    const rl_test *test;
    size_t count;
    rl_status status = rl_case_best_tests(c, most, &test, &count);
    for (size_t i = 0; status == RL_OK && i < count; i++)
        json_add(list, next_test(model, &test[i], i < TESTS_IN_FULL));
    return status;
}

/* ---- test on, or repair ---- */

static json_t *repairs(const rl_model *model, const rl_outlook *outlook)
{
    json_t *list = json_array();
    for (size_t i = 0; i < outlook->mends; i++) {
        const rl_mend *mend = &outlook->mend[i];
        json_t *object = json_object();
        json_put(object, "id", json_words(rl_model_element(model, mend->element)->id));
        json_put(object, "p", json_number_of(mend->p));
        json_put(object, "minutes", json_number_of(mend->minutes));
        json_put(object, "customary", json_boolean(mend->guessed));
        json_add(list, object);
    }
    return list;
}

static rl_status outlook(json_t *object, const rl_model *model, rl_case *c)
{
    const rl_outlook *o;
    rl_status status = rl_case_outlook(c, 0, &o);
    if (status != RL_OK)
        return status;
    json_t *plans = json_object(), *courses = json_array();
    json_put(plans, "stop", json_boolean(o->stop));
    json_put(plans, "test", o->advice != NULL ? json_words(o->advice->test.text) : json_null());
    json_put(plans, "at_fault", json_number_of(o->at_fault));
    json_put(plans, "minutes", json_number_of(o->minutes));
    json_put(plans, "repairs", repairs(model, o));
    for (size_t i = 0; i < o->courses; i++) {
        json_t *course = json_object();
        json_put(course, "test", json_words(o->course[i].test.text));
        json_put(course, "minutes", json_number_of(o->course[i].minutes));
        json_add(courses, course);
    }
    json_put(plans, "tests_first", courses);
    json_put(object, "outlook", plans);
    return RL_OK;
}

/* ---- two tests ahead ---- */

static json_t *follow_up(const rl_follow *f)
{
    json_t *object = json_object();
    if (f->outcome != NULL)
        json_put(object, "outcome", json_words(f->outcome));
    else
        json_put(object, "from_to", json_range(f->low, f->high));   /* null: no bound */
    json_put(object, "p", json_number_of(f->p));
    json_put(object, "test", f->test != NULL ? json_words(f->test->text) : json_null());
    return object;
}

static rl_status lookahead(json_t *object, rl_case *c)
{
    const rl_pair *pair;
    size_t count;
    json_t *list = json_array();
    rl_status status = rl_case_look_ahead(c, 0, &pair, &count);
    json_put(object, "lookahead", list);
    for (size_t i = 0; status == RL_OK && i < count; i++) {
        json_t *one = json_object(), *then = json_array();
        json_put(one, "test", json_words(pair[i].first->text));
        json_put(one, "bits", json_number_of(pair[i].bits));
        json_put(one, "minutes", json_number_of(pair[i].minutes));
        for (size_t k = 0; k < pair[i].follows; k++)
            json_add(then, follow_up(&pair[i].follow[k]));
        json_put(one, "then", then);
        json_add(list, one);
    }
    return status;
}

rl_status json_contradiction(json_t *object, rl_case *c)
{
    const size_t *lines;
    size_t count;
    json_t *list = json_array();
    rl_status status = rl_case_contradiction(c, &lines, &count);
    for (size_t i = 0; status == RL_OK && i < count; i++)
        json_add(list, json_words(rl_case_line(c, lines[i])->text));
    json_put(object, "contradiction", list);
    return status;
}

static rl_status fill(json_t *object, const rl_model *model, rl_case *c, const json_amount *most)
{
    const rl_answer *answer;
    const rl_shares *shares;
    rl_status status = rl_case_answer(c, &answer);
    if (status == RL_OK)
        status = rl_case_shares(c, &shares);
    if (status != RL_OK)
        return status;
    json_put(object, "log_evidence", json_number_of(answer->log_evidence));
    json_put(object, "elements", elements(model, answer));
    json_put(object, "shares", shares_object(shares));
    if (answer->bounded) {
        json_t *bound = json_object();
        json_put(bound, "faults", json_integer(answer->faults));
        json_put(bound, "neglected", json_number_of(answer->neglected));
        json_put(object, "bounded", bound);
    }
    status = explanations(json_object_get(object, "explanations"), model, c, most->explanations);
    if (status == RL_OK)
        status = outlook(object, model, c);
    if (status == RL_OK && most->lookahead >= 2)
        status = lookahead(object, c);
    if (status == RL_OK)
        status = next(json_object_get(object, "next"), model, c, most->tests);
    if (status == RL_OK && rl_case_tests_share(c) < 1)
        json_put(object, "next_share", json_number_of(rl_case_tests_share(c)));
    return status;
}

rl_status json_rank(FILE *out, const rl_model *model, rl_case *c, const json_amount *most)
{
    json_t *object = json_object();
    rl_status status = RL_INPUT;
    json_put(object, "case", json_words(rl_case_name(c)));
    json_put(object, "log_evidence", json_null());
    json_put(object, "elements", json_array());
    json_put(object, "shares", json_null());
    json_put(object, "explanations", json_array());
    json_put(object, "next", json_array());
    if (rl_case_damaged(c))
        json_put(object, "damaged", json_true());
    else
        status = fill(object, model, c, most);
    if (status == RL_CONTRADICTION) {
        rl_status said = json_contradiction(object, c);
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

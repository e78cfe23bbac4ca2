/* test_rules_qmr.c: two-level noisy-OR networks through rule files and the whole engine.
 *
 * A disease is a point with the disease's prior as P(loose), never quiet; a
 * finding is a symptom with a `from` clause for each disease and the leak as
 * `otherwise`.  The same networks go through the inference layer alone in
 * test_bayes.c.
 */
#include "held/held.h"
#include "held/published.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>
#include <jansson.h>

enum { TEXT = 32768, LINE = 128 };

static void near(double got, double want)
{
    if (!(fabs(got - want) <= 1e-9 * fabs(want)))
        fail_msg("got %.17g, expected %.17g", got, want);
}

static double number_at(const json_t *array, size_t i)
{
    assert_true(json_is_number(json_array_get(array, i)));
    return json_number_value(json_array_get(array, i));
}

typedef struct text {
    char bytes[TEXT];
    size_t length;
} text;

static void put(text *out, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    int n = vsnprintf(out->bytes + out->length, TEXT - out->length, format, list);
    va_end(list);
    assert_true(n >= 0 && out->length + (size_t)n < TEXT);
    out->length += (size_t)n;
}

static void write_rules(text *out, const json_t *entry)
{
    const json_t *prior = json_object_get(entry, "prior"), *link = json_object_get(entry, "link");
    put(out, "vehicle v supply 12 V\n");
    for (size_t d = 0; d < json_array_size(prior); d++)
        put(out, "class c%zu loose %.17g\npoint d%zu class c%zu\n", d, number_at(prior, d), d, d);
    for (size_t f = 0; f < json_array_size(link); f++) {
        put(out, "symptom f%zu\n", f);
        for (size_t d = 0; d < json_array_size(prior); d++)
            put(out, "    from d%zu loose %.17g\n", d, number_at(json_array_get(link, f), d));
        put(out, "    otherwise %.17g\n", number_at(json_object_get(entry, "leak"), f));
    }
}

static void say_all(rl_case *c, const json_t *findings, const char *outcome)
{
    for (size_t i = 0; i < json_array_size(findings); i++) {
        char line[LINE];
        snprintf(line, sizeof line, "f%d %s", (int)number_at(findings, i), outcome);
        held_say(c, line);
    }
}

static void check_entry(const json_t *entry)
{
    static text rules;
    rules.length = 0;
    write_rules(&rules, entry);
    held shelf = {0};
    held_put_text(&shelf, "v.gnd", rules.bytes);
    rl_context *context = held_context(&shelf, 0);
    rl_model *model = held_model(&shelf, context);
    rl_case *c = held_case(context, model, "");
    say_all(c, json_object_get(entry, "present"), "present");
    say_all(c, json_object_get(entry, "absent"), "absent");
    const rl_answer *answer;
    assert_int_equal(rl_case_answer(c, &answer), RL_OK);
    near(exp(answer->log_evidence), json_number_value(json_object_get(entry, "p_findings")));
    const json_t *posterior = json_object_get(entry, "posterior");
    for (size_t d = 0; d < json_array_size(posterior); d++) {
        char id[LINE];
        snprintf(id, sizeof id, "d%zu", d);
        const rl_belief *belief = &answer->belief[held_element(model, id)];
        near(belief->p[RL_LOOSE], number_at(posterior, d));
        near(1 - belief->p[RL_SOUND], number_at(posterior, d));
    }
    rl_case_free(c);
    rl_model_free(model);
    rl_context_free(context);
    assert_int_equal(shelf.out, 0);
}

static void check_list(const char *file, const char *name, size_t count)
{
    json_t *root = published(file);
    const json_t *list = published_list(root, name, count);
    for (size_t i = 0; i < count; i++)
        check_entry(json_array_get(list, i));
    json_decref(root);
}

static void worked(void **state)
{
    (void)state;
    check_list("bayes.json", "quickscore", 9);
}

static void drawn(void **state)
{
    (void)state;
    check_list("qmr_random.json", "cases", 60);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(worked), cmocka_unit_test(drawn)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* test_advice.c: the short way to the advice gives the same as the outlook.
 *
 * Drawn vehicles of a shipped rule file are played: in every state of the case, what
 * rl_case_advice says is compared with rl_case_outlook of a second case of the same
 * lines, which works out all courses; then the advised test is taken.
 */
#include "held/disk.h"

#include "outlook.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

enum { PLAYS = 12, MOST_STEPS = 6 };

typedef struct scene {
    rl_context *context;
    rl_model *model;
    int advised, mended;
} scene;

static void say(rl_case *c, const char *line)
{
    disk_must(rl_case_add(c, line, strlen(line), NULL, 0), line);
}

static rl_case *same_lines(scene *s, rl_case *of)
{
    rl_case *c;
    disk_must(rl_case_new(s->context, s->model, "", &c), "case");
    for (size_t i = 0; i < rl_case_lines(of); i++)
        say(c, rl_case_line(of, i)->text);
    return c;
}

static void check_near(double a, double b)
{
    assert_true(fabs(a - b) <= 1e-9 * fabs(b));
}

static void check_mends(const rl_outlook *quick, const rl_outlook *whole)
{
    assert_int_equal(quick->mends, whole->mends);
    for (size_t i = 0; i < quick->mends; i++)
        assert_int_equal(quick->mend[i].element, whole->mend[i].element);
    check_near(quick->minutes, whole->minutes);
    check_near(quick->at_fault, whole->at_fault);
}

/* The test to take, or NULL. */
static const rl_test *check_state(scene *s, rl_case *c, rl_case *twin)
{
    const rl_outlook *quick, *whole;
    disk_must(rl_case_outlook(twin, 0, &whole), "outlook");
    disk_must(rl_case_advice(c, &quick), "advice");
    check_mends(quick, whole);
    assert_true((quick->advice == NULL) == (whole->advice == NULL));
    if (!quick->advice) {
        s->mended++;
        return NULL;
    }
    s->advised++;
    assert_string_equal(quick->advice->test.text, whole->advice->test.text);
    check_near(quick->advice->minutes, whole->advice->minutes);
    return &quick->advice->test;
}

static void play(scene *s, uint64_t number)
{
    rl_drawn *drawn;
    rl_case *c;
    disk_must(rl_drawn_new(s->context, s->model, 7, number, &drawn), "drawn");
    disk_must(rl_case_new(s->context, s->model, "", &c), "case");
    say(c, "occasion workshop");
    disk_must(rl_drawn_complain(drawn, c), "complaint");
    for (int i = 0; i < MOST_STEPS; i++) {
        const char *line;
        rl_case *twin = same_lines(s, c);
        const rl_test *test = check_state(s, c, twin);
        rl_case_free(twin);
        if (!test)
            break;
        disk_must(rl_drawn_take(drawn, c, test, &line), test->text);
        say(c, line);
    }
    rl_case_free(c);
    rl_drawn_free(drawn);
}

static void play_file(const char *rules)
{
    scene s = {.context = disk_context("rules")};
    s.model = disk_model(s.context, rules);
    for (uint64_t i = 0; i < PLAYS; i++)
        play(&s, i);
    printf("%s: %d tests advised, %d times none\n", rules, s.advised, s.mended);
    assert_true(s.advised > PLAYS && s.mended > 0);
    rl_model_free(s.model);
    rl_context_free(s.context);
}

static void small_vehicle(void **state)
{
    (void)state;
    play_file("rules/small-drumlin.gnd");
}

static void demo_vehicle(void **state)
{
    (void)state;
    play_file("rules/demo-moraine.gnd");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(small_vehicle),
        cmocka_unit_test(demo_vehicle),
    };
    return cmocka_run_group_tests_name("advice", tests, NULL, NULL);
}

/* test_oom_draw.c: the k-th allocation fails, for every k, while vehicles are drawn.
 *
 * Invariant: the call that met it gives RL_MEMORY and leaves nothing behind; asked again with
 * memory back, the vehicle and its lines are those of an undisturbed run.
 */
#include "failing.h"
#include "held/small.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

enum { SEED = 5, NUMBER = 9, LINES = 4096 };

typedef struct bench {
    held shelf;
    rl_context *context;
    rl_model *model;
} bench;

static void open_bench(bench *b, const char *rules)
{
    *b = (bench){0};
    held_put_text(&b->shelf, "v.gnd", rules);
    held_put_text(&b->shelf, "base.gnd", small_base);
    b->context = held_context(&b->shelf, 0);
    b->model = held_model(&b->shelf, b->context);
}

static void close_bench(bench *b)
{
    rl_model_free(b->model);
    rl_context_free(b->context);
    assert_int_equal(b->shelf.out, 0);
}

static rl_drawn *draw(bench *b)
{
    rl_drawn *d;
    assert_int_equal(rl_drawn_new(b->context, b->model, SEED, NUMBER, &d), RL_OK);
    return d;
}

static void put_lines(const rl_case *c, char *out)
{
    out[0] = '\0';
    for (size_t i = 0; i < rl_case_lines(c); i++) {
        assert_true(strlen(out) + strlen(rl_case_line(c, i)->text) + 2 < LINES);
        strcat(strcat(out, rl_case_line(c, i)->text), "\n");
    }
}

static void drawing(void **state)
{
    (void)state;
    bench b;
    open_bench(&b, small_vehicle);
    size_t before = b.shelf.out, k = 0;
    bool failed = true;
    while (failed) {
        rl_drawn *d;
        fail_begin(&b.shelf, ++k, false);
        rl_status status = rl_drawn_new(b.context, b.model, SEED, NUMBER, &d);
        failed = fail_end(&b.shelf);
        assert_int_equal(status, failed ? RL_MEMORY : RL_OK);
        assert_true((d == NULL) == failed);
        rl_drawn_free(d);
        assert_int_equal(b.shelf.out, before);
    }
    assert_true(k > 2);
    close_bench(&b);
}

/* The message too needs memory. */
static void refusing(void **state)
{
    (void)state;
    bench b;
    open_bench(&b, "language 1\nvehicle mute \"mute\" supply 12 V\nclass point open 5%\npoint post\n");
    size_t before = b.shelf.out, k = 0;
    bool failed = true;
    while (failed) {
        rl_drawn *d;
        fail_begin(&b.shelf, ++k, false);
        rl_status status = rl_drawn_new(b.context, b.model, SEED, NUMBER, &d);
        failed = fail_end(&b.shelf);
        assert_int_equal(status, failed ? RL_MEMORY : RL_INPUT);
        assert_null(d);
        assert_int_equal(b.shelf.out, before);
    }
    assert_int_equal(b.shelf.errors, 1);
    close_bench(&b);
}

/* One way of filling a case. */
typedef rl_status filling(rl_drawn *d, rl_case *c);

static rl_status fill_whole(rl_drawn *d, rl_case *c)
{
    return rl_drawn_case(d, c, 2, 5);
}

static void fill(bench *b, filling *how, const char *want)
{
    static char got[LINES];
    bool failed = true;
    for (size_t k = 1; failed; k++) {
        rl_drawn *d = draw(b);
        rl_case *c = held_case(b->context, b->model, "");
        fail_begin(&b->shelf, k, false);
        rl_status status = how(d, c);
        failed = fail_end(&b->shelf);
        assert_int_equal(status, failed ? RL_MEMORY : RL_OK);
        rl_case *fresh = held_case(b->context, b->model, "");
        assert_int_equal(how(d, fresh), RL_OK);
        put_lines(fresh, got);
        assert_string_equal(got, want);
        rl_case_free(fresh);
        rl_case_free(c);
        rl_drawn_free(d);
    }
}

static void filling_cases(void **state)
{
    (void)state;
    static filling *const how[] = {rl_drawn_complain, fill_whole};
    static char want[LINES];
    bench b;
    open_bench(&b, small_vehicle);
    for (size_t i = 0; i < 2; i++) {
        rl_drawn *d = draw(&b);
        rl_case *c = held_case(b.context, b.model, "");
        assert_int_equal(how[i](d, c), RL_OK);
        put_lines(c, want);
        assert_true(want[0] != '\0');
        rl_case_free(c);
        rl_drawn_free(d);
        fill(&b, how[i], want);
    }
    close_bench(&b);
}

static void take_disturbed(bench *b, const rl_case *c, const rl_test *test)
{
    rl_drawn *d = draw(b);
    const char *line;
    char want[256];
    assert_int_equal(rl_drawn_take(d, c, test, &line), RL_OK);
    assert_true(strlen(line) < sizeof want);
    strcpy(want, line);
    rl_drawn_free(d);
    bool failed = true;
    for (size_t k = 1; failed; k++) {
        d = draw(b);
        fail_begin(&b->shelf, k, false);
        rl_status status = rl_drawn_take(d, c, test, &line);
        failed = fail_end(&b->shelf);
        assert_int_equal(status, failed ? RL_MEMORY : RL_OK);
        assert_true((line == NULL) == failed);
        assert_int_equal(rl_drawn_take(d, c, test, &line), RL_OK);
        assert_string_equal(line, want);
        rl_drawn_free(d);
    }
}

static void taking(void **state)
{
    (void)state;
    bench b;
    open_bench(&b, small_vehicle);
    rl_case *c = held_case(b.context, b.model, "tail_left dim\nothers work\noccasion later\n");
    const rl_test *test;
    size_t count;
    bool seen[RL_TEST_JUMPER + 1] = {false};
    assert_int_equal(rl_case_tests(c, &test, &count), RL_OK);
    for (size_t i = 0; i < count; i++) {
        if (!seen[test[i].sort])
            take_disturbed(&b, c, &test[i]);
        seen[test[i].sort] = true;
    }
    for (int sort = 0; sort <= RL_TEST_JUMPER; sort++)
        assert_true(seen[sort]);
    rl_case_free(c);
    close_bench(&b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(drawing), cmocka_unit_test(refusing),
                                       cmocka_unit_test(filling_cases), cmocka_unit_test(taking)};
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}

/* test_oom_audit.c: the k-th allocation of an audit and of a round fails, for every k.
 *
 * Invariant: the call gives RL_MEMORY and nothing else, gives all memory back,
 * and says the same as ever when it is asked again with memory.
 */
#include "failing.h"
#include "held/small.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

enum { DRAWS = 4, MINUTES = 25 };

typedef struct setting {
    held shelf;
    rl_context *context;
    rl_model *model;
} setting;

static void open_setting(setting *s, size_t memory_bound)
{
    *s = (setting){.context = NULL};
    held_put_text(&s->shelf, "v.gnd", small_vehicle);
    held_put_text(&s->shelf, "base.gnd", small_base);
    s->context = held_context(&s->shelf, memory_bound);
    assert_non_null(s->context);
    s->model = held_model(&s->shelf, s->context);
}

static void close_setting(setting *s)
{
    rl_model_free(s->model);
    rl_context_free(s->context);
    assert_int_equal(s->shelf.out, 0);
}

/* What is compared of two answers. */
typedef struct essence {
    size_t first, second, third, fourth;
    double one, two;
} essence;

typedef rl_status asked(setting *s, essence *out);

static rl_status ask_audit(setting *s, essence *out)
{
    rl_audit *audit;
    rl_status status = rl_audit_new(s->context, s->model, DRAWS, 3, &audit);
    if (status != RL_OK) {
        assert_null(audit);
        return status;
    }
    const rl_audit_report *r = rl_audit_get(audit);
    *out = (essence){r->alikes, r->unseens, r->problems, r->gaps, r->prior_bits, r->left_bits};
    rl_audit_free(audit);
    return RL_OK;
}

static rl_status ask_round(setting *s, essence *out)
{
    rl_round *round;
    rl_status status = rl_round_new(s->context, s->model, MINUTES, &round);
    if (status != RL_OK) {
        assert_null(round);
        return status;
    }
    const rl_round_report *r = rl_round_get(round);
    *out = (essence){r->stops, r->stops > 0 ? r->stop[0].count : 0, 0, 0, r->covered, r->minutes};
    rl_round_free(round);
    return RL_OK;
}

static size_t disturb(setting *s, asked *ask, bool for_good, size_t step, const essence *want)
{
    size_t before = s->shelf.out;
    for (size_t k = 1;; k += step) {
        essence got = {0};
        fail_begin(&s->shelf, k, for_good);
        rl_status status = ask(s, &got);
        fail_end(&s->shelf);
        assert_int_equal(s->shelf.errors, 0);
        if (!s->shelf.failed) {
            assert_int_equal(status, RL_OK);
            assert_memory_equal(&got, want, sizeof got);
            return k - 1;
        }
        /* What only makes later answers quicker (the model's kept rows) may do without memory. */
        assert_true(status == RL_MEMORY || (status == RL_OK && memcmp(&got, want, sizeof got) == 0));
        if (status == RL_MEMORY)
            assert_int_equal(s->shelf.out, before);
        before = s->shelf.out;
    }
}

static void run(asked *ask, size_t memory_bound, size_t step)
{
    setting s;
    essence want = {0};
    open_setting(&s, memory_bound);
    assert_int_equal(ask(&s, &want), RL_OK);
    assert_true(want.first > 0);
    assert_true(disturb(&s, ask, false, step, &want) > 0);
    assert_true(disturb(&s, ask, true, step, &want) > 0);
    close_setting(&s);
}

static void auditing(void **state)
{
    (void)state;
    run(ask_audit, 0, 1);
}

/* So little that networks are wide and answers bounded. */
static void auditing_in_bounds(void **state)
{
    (void)state;
    run(ask_audit, 8192, 199);
}

static void going_round(void **state)
{
    (void)state;
    run(ask_round, 0, 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(auditing), cmocka_unit_test(auditing_in_bounds), cmocka_unit_test(going_round),
    };
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    return failed > 255 ? 255 : failed;
}

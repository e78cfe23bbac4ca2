/* test_oom_rehearse.c: the k-th piece of memory fails while faults are played.
 *
 * Invariant of the job: a call gives RL_MEMORY exactly if a piece failed, nothing is left
 * when all is freed, and a rehearsal that met RL_MEMORY plays the same fault
 * afterwards as if nothing had been.
 */
#include "failing.h"
#include "held/small.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static const rl_play_rule rule = {.above = 0.9, .most_tests = 3};

typedef struct stage {
    held shelf;
    rl_context *context;
    rl_model *model;
} stage;

static void stage_open(stage *s)
{
    memset(s, 0, sizeof *s);
    held_put_text(&s->shelf, "v.gnd", small_vehicle);
    held_put_text(&s->shelf, "base.gnd", small_base);
    s->context = held_context(&s->shelf, 0);
    s->model = held_model(&s->shelf, s->context);
}

static void stage_close(stage *s)
{
    rl_model_free(s->model);
    rl_context_free(s->context);
    assert_int_equal(s->shelf.out, 0);
}

static void making(void **state)
{
    (void)state;
    stage s;
    stage_open(&s);
    bool failed = true, kept = false;   /* kept: the model made the list of its tests, once and for good */
    size_t k = 0;
    while (failed) {
        size_t before = s.shelf.out;
        rl_rehearsal *r;
        fail_begin(&s.shelf, ++k, false);
        rl_status status = rl_rehearsal_new(s.context, s.model, &rule, 1, &r);
        failed = fail_end(&s.shelf);
        assert_int_equal(status, failed ? RL_MEMORY : RL_OK);
        assert_true((r == NULL) == failed);
        rl_rehearsal_free(r);
        assert_true(s.shelf.out == before || (!kept && s.shelf.out > before));
        kept = kept || s.shelf.out > before;
    }
    assert_true(k > 2 && kept);
    stage_close(&s);
}

static void assert_same(const rl_played *want, const rl_played *got)
{
    assert_true(want->bits == got->bits && want->passed_over == got->passed_over);
    for (int i = 0; i < RL_STRATEGIES; i++) {
        assert_int_equal(want->of[i].tests, got->of[i].tests);
        assert_int_equal(want->of[i].wrong, got->of[i].wrong);
        assert_true(want->of[i].minutes == got->of[i].minutes);
    }
}

/* Some ks in a row at the start, then one in many: a play takes thousands of pieces. */
static size_t next_k(size_t k)
{
    return k < 24 ? k + 1 : k + k / 12;
}

/* What a rehearsal keeps between plays is what it had before. */
static void playing_with(stage *s, uint64_t number, bool for_good)
{
    rl_rehearsal *r;
    rl_played want, got;
    size_t tried = 0;
    assert_int_equal(rl_rehearsal_new(s->context, s->model, &rule, 1, &r), RL_OK);
    assert_int_equal(rl_rehearsal_play(r, number, &want), RL_OK);
    bool failed = true;
    for (size_t k = 1; failed; k = next_k(k)) {
        fail_begin(&s->shelf, k, for_good);
        rl_status status = rl_rehearsal_play(r, number, &got);
        failed = fail_end(&s->shelf);
        assert_int_equal(status, failed ? RL_MEMORY : RL_OK);
        tried++;
        if (failed && tried % 16 == 0)
            assert_int_equal(rl_rehearsal_play(r, number, &got), RL_OK);
        if (!failed || tried % 16 == 0)
            assert_same(&want, &got);
    }
    assert_true(tried > 30);
    rl_rehearsal_free(r);
}

static void playing(void **state)
{
    (void)state;
    stage s;
    stage_open(&s);
    for (uint64_t number = 0; number < 2; number++) {
        playing_with(&s, number, false);
        playing_with(&s, number, true);
    }
    stage_close(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(making), cmocka_unit_test(playing)};
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}

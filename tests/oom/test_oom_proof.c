/* test_oom_proof.c: the k-th allocation fails, for every k, while a repair is proved.
 *
 * Invariant: the question gives RL_MEMORY, and with memory back the numbers of
 * an undisturbed run; nothing is left at the end.
 */
#include "failing.h"
#include "held/small.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static const char all_lines[] = "swing present\ntail_left dim\nothers work\nlook rear corroded\n"
                            "drop tail_left from rear 0.31 V\n"
                            "occasion after with repaired rear\ntail_left normal\nswing absent\n"
                            "drop stop to rear 20 mV\ndrop stop from rear 60 mV\n";

static void put_files(held *shelf)
{
    held_put_text(shelf, "v.gnd", small_vehicle);
    held_put_text(shelf, "base.gnd", small_base);
}

static rl_status ask(rl_case *c, const rl_model *model, numbers *out)
{
    const rl_proof *proof;
    bool open[8] = { false };
    out->count = 0;
    rl_status status = rl_case_proof(c, held_element(model, "rear"), &proof);
    if (status != RL_OK)
        return status;
    numbers_note(out, proof->at_fault);
    numbers_note(out, proof->rest);
    numbers_note(out, proof->rest_before);
    numbers_note(out, proof->none_else);
    numbers_note(out, (double)proof->complaints);
    numbers_note(out, proof->suspect);
    numbers_note(out, proof->verdict);
    for (size_t i = 0; i < proof->readings; i++)
        numbers_note(out, proof->reading[i].test.healthy_high);
    for (size_t i = 0; i < proof->takens; i++)
        numbers_note(out, proof->taken[i].bound);
    status = rl_case_open_areas(c, open);
    numbers_note(out, open[0] + 2 * open[1]);
    return status;
}

/* With the k-th allocation failing, once or from there on; false: there is no k-th. */
static bool disturbed(held *shelf, rl_context *context, const rl_model *model, const char *lines, size_t k,
                      bool for_good, const numbers *want)
{
    static numbers got;
    rl_case *c = held_case(context, model, lines);
    fail_begin(shelf, k, for_good);
    rl_status status = ask(c, model, &got);
    bool failed = fail_end(shelf);
    assert_int_equal(status, failed ? RL_MEMORY : RL_OK);
    if (failed)
        assert_int_equal(ask(c, model, &got), RL_OK);
    numbers_same(want, &got);
    rl_case_free(c);
    return failed;
}

static void run_with_bound(const char *lines, size_t memory_bound, size_t step, int manners)
{
    static numbers want;
    held shelf = { .files = 0 };
    put_files(&shelf);
    rl_context *context = held_context(&shelf, memory_bound);
    rl_model *model = held_model(&shelf, context);
    rl_case *c = held_case(context, model, lines);
    assert_int_equal(ask(c, model, &want), RL_OK);
    assert_true(want.count >= 10);
    const rl_answer *answer;
    assert_int_equal(rl_case_answer(c, &answer), RL_OK);
    assert_int_equal(answer->bounded, memory_bound > 0);
    rl_case_free(c);
    for (int for_good = 0; for_good < manners; for_good++) {
        size_t k = 1;
        while (disturbed(&shelf, context, model, lines, k, for_good, &want))
            k += step;
        assert_true(k > 1);
    }
    rl_model_free(model);
    rl_context_free(context);
    assert_int_equal(shelf.out, 0);
}

static void proving(void **state)
{
    (void)state;
    run_with_bound(all_lines, 0, 1, 2);
}

/* Few faults at once: what else may be at fault is a bound then. */
static void proving_bounded(void **state)
{
    (void)state;
    run_with_bound(all_lines, 4000, 211, 1);   /* each run takes a second: one k in so many */
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(proving), cmocka_unit_test(proving_bounded) };
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}

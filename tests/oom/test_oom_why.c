/* test_oom_why.c: the k-th piece of memory fails, for every k, while a case is asked why.
 *
 * Invariant of the job: the question gives RL_MEMORY exactly if a piece failed,
 * and the numbers of an undisturbed run when it is asked again; nothing is left
 * when all is freed.
 */
#include "failing.h"
#include "held/small.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

typedef rl_status question(rl_case *c, size_t element, numbers *out);

static rl_status ask_why(rl_case *c, size_t element, numbers *out)
{
    const rl_why *why;
    rl_status status = rl_case_why(c, element, &why);
    if (status != RL_OK)
        return status;
    numbers_note(out, why->prior_db);
    numbers_note(out, why->posterior_db);
    for (size_t i = 0; i < why->count; i++)
        numbers_note(out, why->weight[i].db);
    return RL_OK;
}

static rl_status ask_ties(rl_case *c, size_t element, numbers *out)
{
    const rl_ties *ties;
    rl_status status = rl_case_ties(c, element, &ties);
    if (status != RL_OK)
        return status;
    for (size_t i = 0; i < ties->count; i++) {
        numbers_note(out, ties->tie[i].link);
        for (size_t j = 0; j < ties->tie[i].shared_count; j++)
            numbers_note(out, ties->tie[i].shared[j]);
    }
    for (size_t i = 0; i < ties->unseen_count; i++)
        numbers_note(out, ties->unseen[i].load);
    return RL_OK;
}

static rl_status ask_both(rl_case *c, size_t element, numbers *out)
{
    rl_status status = ask_why(c, element, out);
    return status == RL_OK ? ask_ties(c, element, out) : status;
}

/* One question with its k-th piece failing (for good: and all that follow); whether one did. */
static bool disturb(held *shelf, rl_case *c, size_t element, question *ask, size_t k, bool for_good, const numbers *want)
{
    numbers got = {0};
    fail_begin(shelf, k, for_good);
    rl_status status = ask(c, element, &got);
    fail_end(shelf);
    assert_int_equal(status, shelf->failed ? RL_MEMORY : RL_OK);
    if (shelf->failed) {
        got.count = 0;
        assert_int_equal(ask(c, element, &got), RL_OK);
    }
    numbers_same(want, &got);
    return shelf->failed;
}

static void run_question(question *ask, const char *lines, const char *suspect, bool for_good, size_t step)
{
    held shelf = {0};
    held_put_text(&shelf, "v.gnd", small_vehicle);
    held_put_text(&shelf, "base.gnd", small_base);
    rl_context *context = held_context(&shelf, 0);
    rl_model *model = held_model(&shelf, context);
    size_t element = held_element(model, suspect), before = shelf.out, k = 1;
    numbers want = {0};
    rl_case *c = held_case(context, model, lines);
    assert_int_equal(ask(c, element, &want), RL_OK);
    assert_true(want.count > 2);
    rl_case_free(c);
    for (bool failed = true; failed; k += step) {
        c = held_case(context, model, lines);
        failed = disturb(&shelf, c, element, ask, k, for_good, &want);
        rl_case_free(c);
    }
    assert_true(k > 2);
    assert_int_equal(shelf.out, before);
    rl_model_free(model);
    rl_context_free(context);
    assert_int_equal(shelf.out, 0);
}

static const char few_lines[] = "swing present\ntail_left dim\nothers work\nlook rear corroded\n"
                                "drop tail_left from rear 0.31 V\ntail_left normal with bypass at rear\n";

static void one_fails(void **state)
{
    (void)state;
    run_question(ask_both, few_lines, "rear", false, 1);
    run_question(ask_ties, few_lines, "plug", false, 1);
    run_question(ask_both, few_lines, "tail_left.wire", false, 1);
}

static void all_fail_from_there(void **state)
{
    (void)state;
    run_question(ask_both, few_lines, "rear", true, 1);
    run_question(ask_ties, few_lines, "relay_coil", true, 1);
}

/* Every sort of line. */
static void many_lines(void **state)
{
    (void)state;
    enum { STEP = 7 };   /* each run is long: one k in seven */
    run_question(ask_both, small_lines, "rear", false, STEP);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_fails), cmocka_unit_test(all_fail_from_there), cmocka_unit_test(many_lines),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}

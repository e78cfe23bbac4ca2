/* test_oom_outlook.c: the k-th allocation fails, for every k, while it is asked what is next.
 *
 * Invariant: the question gives RL_MEMORY, nothing of the outcomes that were tried is
 * left behind, and asked again with memory back it gives the numbers of an undisturbed run.
 */
#include "failing.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

enum { FEW = 2 };

/* Few tests, one of each way to come out: a level, a band of a reading, an inspection. */
static const char rules[] =
    "vehicle v supply 12 V\n"
    "class point loose 1% corroded 3% open 1%\n"
    "class wire open 1%\n"
    "kind lamp behaves normal, dim, dead failed 1%\n"
    "    when loose dim 20%\n"
    "    short of 2 V dim 80%\n"
    "    when open dead 100%\n"
    "    when failed dead 100%\n"
    "joint sound 2 mohm spread 3\n"
    "joint corroded 0.8 ohm spread 5\n"
    "meter volts reads 0.5% plus 2 mV misread 2% check 2 min bands 0.2 V, 2 V\n"
    "area box access 5 min\n"
    "point b in box\n"
    "point a in box returns through b repair 10 min\n"
    "load lamp1 kind lamp draws 2 A returns through a do not bypass, swap\n"
    "load lamp2 kind lamp draws 2 A returns through b do not bypass, swap\n"
    "inspection look of point shows whole, rusty check 3 min\n"
    "    when corroded rusty 80%\n";
static const char lines[] = "lamp1 dim\nlook b whole\n";

typedef rl_status question(rl_case *c, numbers *out);

static rl_status ask_outlook(rl_case *c, numbers *out)
{
    const rl_outlook *o;
    rl_status status = rl_case_outlook(c, FEW, &o);
    if (status != RL_OK)
        return status;
    numbers_note(out, o->minutes);
    for (size_t i = 0; i < o->mends; i++) {
        numbers_note(out, (double)o->mend[i].element);
        numbers_note(out, o->mend[i].minutes);
    }
    for (size_t i = 0; i < o->courses; i++)
        numbers_note(out, o->course[i].minutes);
    return RL_OK;
}

static rl_status ask_ahead(rl_case *c, numbers *out)
{
    const rl_pair *pair;
    size_t count;
    rl_status status = rl_case_look_ahead(c, FEW, &pair, &count);
    for (size_t i = 0; status == RL_OK && i < count; i++) {
        numbers_note(out, pair[i].bits);
        numbers_note(out, pair[i].minutes);
        for (size_t k = 0; k < pair[i].follows; k++)
            numbers_note(out, pair[i].follow[k].p);
    }
    return status;
}

/* Returns how many allocations were made to fail. */
static size_t disturb(held *shelf, const rl_model *model, rl_context *context, question *ask, bool for_good,
                      const numbers *want)
{
    for (size_t k = 1;; k++) {
        static numbers got;
        rl_case *c = held_case(context, model, lines);
        got.count = 0;
        fail_begin(shelf, k, for_good);
        rl_status status = ask(c, &got);
        bool failed = fail_end(shelf);
        assert_int_equal(status, failed ? RL_MEMORY : RL_OK);
        if (failed) {
            got.count = 0;
            assert_int_equal(ask(c, &got), RL_OK);
        }
        numbers_same(want, &got);
        rl_case_free(c);
        if (!failed)
            return k - 1;
    }
}

static void run_question(question *ask)
{
    held shelf = {0};
    held_put_text(&shelf, "v.gnd", rules);
    rl_context *context = held_context(&shelf, 0);
    rl_model *model = held_model(&shelf, context);
    rl_case *c = held_case(context, model, lines);
    static numbers want;
    want.count = 0;
    assert_int_equal(ask(c, &want), RL_OK);
    assert_true(want.count > FEW);
    rl_case_free(c);
    size_t before = shelf.out;
    assert_true(disturb(&shelf, model, context, ask, false, &want) > 10);
    assert_true(disturb(&shelf, model, context, ask, true, &want) > 10);
    assert_int_equal(shelf.out, before);
    rl_model_free(model);
    rl_context_free(context);
    assert_int_equal(shelf.out, 0);
}

static void outlook(void **state)
{
    (void)state;
    run_question(ask_outlook);
}

static void ahead(void **state)
{
    (void)state;
    run_question(ask_ahead);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(outlook), cmocka_unit_test(ahead)};
    return cmocka_run_group_tests(tests, NULL, NULL) > 0;
}

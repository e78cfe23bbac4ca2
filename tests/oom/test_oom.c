/* test_oom.c: the k-th allocation fails, for every k, over the whole main job.
 *
 * Invariant of the job: it stops at the first call that gives RL_MEMORY, frees
 * what it has, and nothing is left.  A case that met RL_MEMORY is then asked
 * again with memory back and has to give the numbers of an undisturbed run.
 */
#include "failing.h"
#include "held/small.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

/* ---- the questions, one function each ---- */

typedef rl_status question(rl_case *c, const rl_model *model, numbers *out);

static rl_status ask_answer(rl_case *c, const rl_model *model, numbers *out)
{
    const rl_answer *answer;
    rl_status status = rl_case_answer(c, &answer);
    if (status != RL_OK)
        return status;
    numbers_note(out, answer->log_evidence);
    for (size_t i = 0; i < rl_model_vehicle(model)->elements; i++)
        for (int s = 0; s < RL_STATES; s++)
            numbers_note(out, answer->belief[i].p[s]);
    return RL_OK;
}

static rl_status ask_bounded(rl_case *c, const rl_model *model, numbers *out)
{
    rl_status status = ask_answer(c, model, out);
    const rl_answer *answer;
    if (status == RL_OK && rl_case_answer(c, &answer) == RL_OK) {
        assert_true(answer->bounded);
        numbers_note(out, answer->neglected);
    }
    return status;
}

static rl_status ask_shares(rl_case *c, const rl_model *model, numbers *out)
{
    (void)model;
    const rl_shares *shares;
    rl_status status = rl_case_shares(c, &shares);
    if (status != RL_OK)
        return status;
    numbers_note(out, shares->of_return);
    numbers_note(out, shares->of_feed);
    numbers_note(out, shares->of_load);
    numbers_note(out, shares->none);
    return RL_OK;
}

static rl_status ask_explain(rl_case *c, const rl_model *model, numbers *out)
{
    (void)model;
    const rl_explanation *list;
    size_t count;
    rl_status status = rl_case_explain(c, 4, &list, &count);
    for (size_t i = 0; status == RL_OK && i < count; i++) {
        numbers_note(out, list[i].p);
        for (size_t f = 0; f < list[i].count; f++)
            numbers_note(out, (double)list[i].faults[f].element);
    }
    return status;
}

static rl_status ask_suspects(rl_case *c, const rl_model *model, numbers *out)
{
    (void)model;
    const size_t *elements;
    size_t count;
    rl_status status = rl_case_suspects(c, &elements, &count);
    for (size_t i = 0; status == RL_OK && i < count; i++)
        numbers_note(out, (double)elements[i]);
    return status;
}

static rl_status ask_why(rl_case *c, const rl_model *model, numbers *out)
{
    const rl_why *why;
    rl_status status = rl_case_why(c, held_element(model, "rear"), &why);
    if (status != RL_OK)
        return status;
    numbers_note(out, why->prior);
    numbers_note(out, why->posterior);
    for (size_t i = 0; i < why->count; i++)
        numbers_note(out, why->weight[i].db);
    return RL_OK;
}

static rl_status ask_tests(rl_case *c, const rl_model *model, numbers *out)
{
    (void)model;
    const rl_test *list;
    size_t count;
    rl_status status = rl_case_tests(c, &list, &count);
    for (size_t i = 0; status == RL_OK && i < count; i++) {
        numbers_note(out, list[i].bits);
        numbers_note(out, list[i].minutes);
    }
    const rl_test *reading = NULL;   /* the last drop: the first ones have their ranges */
    for (size_t i = 0; status == RL_OK && i < count; i++)
        reading = list[i].sort == RL_TEST_DROP ? &list[i] : reading;
    rl_test ranged;
    if (reading != NULL)
        status = rl_case_ranges(c, reading, &ranged);
    if (reading != NULL && status == RL_OK)
        numbers_note(out, ranged.healthy_high);
    return status;
}

static rl_status ask_expectations(rl_case *c, const rl_model *model, numbers *out)
{
    (void)model;
    const rl_expectation *list;
    size_t count;
    rl_status status = rl_case_expectations(c, &list, &count);
    for (size_t i = 0; status == RL_OK && i < count; i++)
        numbers_note(out, list[i].p);
    return status;
}

static rl_status ask_found(rl_case *c, const rl_model *model, numbers *out)
{
    (void)model;
    const rl_fault *list;
    size_t count;
    bool only;
    rl_status status = rl_case_found(c, &list, &count, &only);
    if (status == RL_OK)
        numbers_note(out, (double)count);
    return status;
}

/* Of the case that contradicts itself: the set, and the answer's refusal. */
static rl_status ask_contradiction(rl_case *c, const rl_model *model, numbers *out)
{
    (void)model;
    const rl_answer *answer;
    rl_status status = rl_case_answer(c, &answer);
    if (status != RL_CONTRADICTION)
        return status;
    const size_t *lines;
    size_t count;
    status = rl_case_contradiction(c, &lines, &count);
    for (size_t i = 0; status == RL_OK && i < count; i++)
        numbers_note(out, (double)lines[i]);
    return status;
}

static question *const questions[] = {ask_answer, ask_shares, ask_explain, ask_suspects, ask_why,
                                      ask_tests, ask_expectations, ask_found};
enum { QUESTIONS = sizeof questions / sizeof *questions };

static rl_status ask_all(rl_case *c, const rl_model *model, numbers *out)
{
    rl_status status = RL_OK;
    for (size_t i = 0; status == RL_OK && i < QUESTIONS; i++)
        status = questions[i](c, model, out);
    return status;
}

/* ---- reading ---- */

static const char bad_line[] = "stop dmi";

static void put_files(held *shelf)
{
    static char book[4096];
    held_put_text(shelf, "v.gnd", small_vehicle);
    held_put_text(shelf, "base.gnd", small_base);
    if (book[0] == '\0') {
        strcat(strcat(book, "case \"first\" on cart\n"), small_lines);
        strcat(book, "case \"second\" on cart\ntail_left dead\ntail_left normal with jumper\nfound f2 open\n");
    }
    held_put_text(shelf, "v.case", book);
}

/* Context, model and book; RL_OK or RL_MEMORY, and what there is of them. */
static rl_status read_all(held *shelf, size_t memory_bound, rl_context **context, rl_model **model, rl_book **book)
{
    *context = held_context(shelf, memory_bound);
    *model = NULL;
    *book = NULL;
    if (*context == NULL)
        return RL_MEMORY;
    rl_status status = rl_model_read(*context, "v.gnd", model);
    if (status == RL_OK)
        status = rl_book_read(*context, *model, "v.case", book);
    return status;
}

static void free_all(rl_context *context, rl_model *model, rl_book *book)
{
    rl_book_free(book);
    rl_model_free(model);
    rl_context_free(context);
}

static void reading(void **state)
{
    (void)state;
    size_t k = 0;
    bool failed = true;
    while (failed) {
        held shelf = {.fail_at = ++k};
        put_files(&shelf);
        rl_context *context;
        rl_model *model;
        rl_book *book;
        rl_status status = read_all(&shelf, 0, &context, &model, &book);
        failed = shelf.failed;
        assert_int_equal(status, failed ? RL_MEMORY : RL_OK);
        assert_int_equal(shelf.errors, 0);
        free_all(context, model, book);
        assert_int_equal(shelf.out, 0);
    }
    assert_true(k > 8);
}

/* ---- questions ---- */

static const char contradicting[] = "tail_left dim\nrelay_coil normal\nfuel normal\nrelay_coil dead with jumper and bypass\n";

/* With the k-th allocation of one question failing, the question gives RL_MEMORY, and the
 * same numbers afterwards; returns the last k that was tried and failed, at most. */
static size_t disturb(held *shelf, const rl_model *model, rl_context *context, const char *lines, question *ask,
                      bool for_good, size_t step, const numbers *want)
{
    for (size_t k = 1;; k += step) {
        rl_case *c = held_case(context, model, lines);
        static numbers got;
        got.count = 0;
        fail_begin(shelf, k, for_good);
        rl_status status = ask(c, model, &got);
        fail_end(shelf);
        assert_int_equal(status, shelf->failed ? RL_MEMORY : RL_OK);
        if (shelf->failed) {
            got.count = 0;
            assert_int_equal(ask(c, model, &got), RL_OK);
        }
        numbers_same(want, &got);
        rl_case_free(c);
        if (!shelf->failed)
            return k - 1;
    }
}

static void run_question(const char *lines, question *ask, size_t memory_bound, size_t step)
{
    held shelf = {0};
    put_files(&shelf);
    rl_context *context;
    rl_model *model;
    rl_book *book;
    assert_int_equal(read_all(&shelf, memory_bound, &context, &model, &book), RL_OK);
    static numbers want;
    want.count = 0;
    rl_case *c = held_case(context, model, lines);
    assert_int_equal(ask(c, model, &want), RL_OK);
    assert_true(want.count > 0);
    rl_case_free(c);
    size_t before = shelf.out;
    assert_true(disturb(&shelf, model, context, lines, ask, false, step, &want) > 0);
    assert_true(disturb(&shelf, model, context, lines, ask, true, step, &want) > 0);
    assert_int_equal(shelf.out, before);
    free_all(context, model, book);
    assert_int_equal(shelf.out, 0);
}

static const char few_lines[] = "swing present\ntail_left dim\nothers work\nlook rear corroded\n"
                                "drop tail_left from rear 0.31 V\nfound rear corroded\nexpect rear leads\n";

static void answering(void **state)
{
    (void)state;
    run_question(few_lines, ask_all, 0, 1);
}

/* Each as the first question of its case. */
static void asking_first(void **state)
{
    (void)state;
    static question *const first[] = {ask_shares, ask_explain, ask_suspects, ask_why, ask_expectations};
    for (size_t i = 0; i < sizeof first / sizeof *first; i++)
        run_question(few_lines, first[i], 0, 1);
}

/* A bound that the exact tables would pass: the answer comes from few faults at once. */
static void answering_bounded(void **state)
{
    (void)state;
    enum { SMALL_BOUND = 4000, STEP = 13 };   /* each run is long: one k in thirteen */
    run_question(few_lines, ask_bounded, SMALL_BOUND, STEP);
}

static void contradiction(void **state)
{
    (void)state;
    run_question(contradicting, ask_contradiction, 0, 1);
}

/* ---- a line more ---- */

static void near_enough(const numbers *want, const numbers *got)
{
    assert_int_equal(want->count, got->count);
    for (size_t i = 0; i < want->count; i++)
        if (!(fabs(want->value[i] - got->value[i]) <= 1e-12 * fmax(1, fabs(want->value[i]))))
            fail_msg("number %zu is %.17g, wanted %.17g", i, got->value[i], want->value[i]);
}

/* A case that was answered goes on from there; memory fails on the way. */
static void going_on(void **state)
{
    (void)state;
    static const char before[] = "swing present\ntail_left dim\nothers work\n", line[] = "drop tail_left from rear 0.31 V";
    static numbers want, got, ignored;
    held shelf = {0};
    put_files(&shelf);
    rl_context *context = held_context(&shelf, 0);
    rl_model *model = held_model(&shelf, context);
    rl_case *scratch = held_case(context, model, before);
    held_say(scratch, line);
    want.count = 0;
    assert_int_equal(ask_answer(scratch, model, &want), RL_OK);
    rl_case_free(scratch);
    bool failed = true;
    for (size_t k = 1; failed; k++) {
        rl_case *c = held_case(context, model, before);
        ignored.count = got.count = 0;
        assert_int_equal(ask_all(c, model, &ignored), RL_OK);
        held_say(c, line);
        fail_begin(&shelf, k, false);
        rl_status status = ask_answer(c, model, &got);
        failed = fail_end(&shelf);
        assert_int_equal(status, failed ? RL_MEMORY : RL_OK);
        if (failed) {
            got.count = 0;
            assert_int_equal(ask_answer(c, model, &got), RL_OK);
        }
        near_enough(&want, &got);
        rl_case_free(c);
    }
    free_all(context, model, NULL);
    assert_int_equal(shelf.out, 0);
}

/* ---- lines that come and go ---- */

static size_t lines_with_failure(held *shelf, rl_case *c, size_t k, size_t *refused)
{
    size_t added = 0;
    const char *text = small_lines;
    while (*text != '\0') {
        size_t length = strcspn(text, "\n"), before = rl_case_lines(c);
        fail_begin(shelf, k, false);
        rl_status status = rl_case_add(c, text, length, "said", 1);
        fail_end(shelf);
        assert_int_equal(status, shelf->failed ? RL_MEMORY : RL_OK);
        assert_int_equal(rl_case_lines(c), before + (status == RL_OK));
        if (status == RL_MEMORY) {
            *refused += 1;
            assert_int_equal(rl_case_add(c, text, length, "said", 1), RL_OK);
        }
        added++;
        text += length + 1;
    }
    return added;
}

/* A line refused for want of memory, and one refused as wrong, leave the case as it was. */
static void coming_and_going(void **state)
{
    (void)state;
    held shelf = {0};
    put_files(&shelf);
    rl_context *context;
    rl_model *model;
    rl_book *book;
    assert_int_equal(read_all(&shelf, 0, &context, &model, &book), RL_OK);
    static numbers want, got;
    want.count = 0;
    rl_case *whole = held_case(context, model, small_lines);
    assert_int_equal(ask_answer(whole, model, &want), RL_OK);
    rl_case_free(whole);
    for (size_t k = 1, refused = 1; refused > 0; k++) {
        refused = 0;
        rl_case *c = held_case(context, model, "");
        size_t lines = lines_with_failure(&shelf, c, k, &refused);
        assert_int_equal(rl_case_lines(c), lines);
        assert_int_equal(rl_case_add(c, bad_line, strlen(bad_line), "said", 1), RL_INPUT);
        held_say(c, "fuel wrong");
        assert_int_equal(rl_case_withdraw(c, lines), RL_OK);
        got.count = 0;
        assert_int_equal(ask_answer(c, model, &got), RL_OK);
        numbers_same(&want, &got);
        rl_case_free(c);
        assert_true(k < 1000);
    }
    free_all(context, model, book);
    assert_int_equal(shelf.out, 0);
}

static void making_a_case(void **state)
{
    (void)state;
    held shelf = {0};
    put_files(&shelf);
    rl_context *context = held_context(&shelf, 0);
    rl_model *model = held_model(&shelf, context);
    bool failed = true;
    for (size_t k = 1; failed; k++) {
        size_t before = shelf.out;
        fail_begin(&shelf, k, false);
        rl_case *c = NULL;
        rl_status status = rl_case_new(context, model, "1", &c);
        failed = fail_end(&shelf);
        assert_int_equal(status, failed ? RL_MEMORY : RL_OK);
        assert_true((c == NULL) == failed);
        rl_case_free(c);
        assert_int_equal(shelf.out, before);
    }
    free_all(context, model, NULL);
    assert_int_equal(shelf.out, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reading), cmocka_unit_test(answering), cmocka_unit_test(answering_bounded), cmocka_unit_test(asking_first),
        cmocka_unit_test(contradiction), cmocka_unit_test(going_on),
        cmocka_unit_test(coming_and_going), cmocka_unit_test(making_a_case),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

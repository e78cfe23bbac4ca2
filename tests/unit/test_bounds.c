/* test_bounds.c: files that hold more than reading may take, read under a small bound.
 *
 * Invariant: what is refused is refused once, in words, and what was read before it
 * is what it would have been without it.
 */
#include "held/held.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

enum { TEXT = 1 << 20, POINTS = 4000, CASES = 3000, SMALL = 1 << 18 };

static char many[TEXT], lines[TEXT];

static const char head[] = "vehicle v supply 12 V\nclass point loose 1%\n";
static const char lamp[] =
    "vehicle v supply 12 V\nclass point loose 1%\nclass wire open 1%\nkind lamp behaves lit, dark failed 1%\n"
    "    when open dark 90%\npoint p\nload a kind lamp returns through p\n";

static void put_points(char *out, const char *first)
{
    size_t n = (size_t)sprintf(out, "%s", first);
    for (int i = 0; i < POINTS; i++)
        n += (size_t)sprintf(out + n, "point p%d\n", i);
    assert_true(n < TEXT);
}

static void expect_one_error(const held *shelf, const char *part)
{
    assert_int_equal(shelf->errors, 1);
    if (strstr(shelf->first_error, part) == NULL)
        fail_msg("\"%s\" is not in: %s", part, shelf->first_error);
}

static rl_status read_shelf(held *shelf)
{
    rl_context *context = held_context(shelf, 0);
    rl_model *model = NULL;
    assert_non_null(context);
    rl_status status = rl_model_read(context, "v.gnd", &model);
    assert_true((status == RL_OK) == (model != NULL));
    rl_model_free(model);
    rl_context_free(context);
    assert_int_equal(shelf->out, 0);
    return status;
}

static void rules_that_are_too_much(void **state)
{
    (void)state;
    put_points(many, head);
    for (int bounded = 0; bounded < 2; bounded++) {
        held shelf = {.reading_bound = bounded ? SMALL : 0};
        held_put_text(&shelf, "v.gnd", many);
        assert_int_equal(read_shelf(&shelf), bounded ? RL_INPUT : RL_OK);
        if (bounded)
            expect_one_error(&shelf, "the file holds too much to be read at once");
    }
}

/* Several files together are bounded as one is, and what comes after is not even asked for:
 * `missing.gnd` would be an error of its own. */
static void includes_that_are_too_much(void **state)
{
    (void)state;
    held shelf = {.reading_bound = SMALL};
    put_points(many, "");
    held_put_text(&shelf, "v.gnd", "include \"a.gnd\"\ninclude \"missing.gnd\"\nvehicle v supply 12 V\n"
                                   "class point loose 1%\npoint q returns through p3999\n");
    held_put_text(&shelf, "a.gnd", many);
    assert_int_equal(read_shelf(&shelf), RL_INPUT);
    expect_one_error(&shelf, "a.gnd:");
    expect_one_error(&shelf, "the file holds too much to be read at once");
}

/* The bound may be passed by a text as such, before anything of it is read. */
static void blanks_that_are_too_much(void **state)
{
    (void)state;
    held shelf = {.reading_bound = SMALL};
    memset(many, '\n', TEXT - 1);
    many[TEXT - 1] = '\0';
    held_put_text(&shelf, "v.gnd", "include \"a.gnd\"\ninclude \"missing.gnd\"\n");
    held_put_text(&shelf, "a.gnd", many);
    assert_int_equal(read_shelf(&shelf), RL_INPUT);
    expect_one_error(&shelf, "a.gnd:1:1: the file holds too much");
}

/* The cases before the bound are whole and answered as ever. */
static void cases_that_are_too_many(void **state)
{
    (void)state;
    held shelf = {.reading_bound = 0};
    size_t n = 0;
    for (int i = 0; i < CASES; i++)
        n += (size_t)sprintf(lines + n, "case \"%d\" on v\na dark\n", i);
    held_put_text(&shelf, "v.gnd", lamp);
    held_put_text(&shelf, "v.case", lines);
    shelf.reading_bound = 4 * TEXT;
    rl_context *context = held_context(&shelf, 0);
    rl_model *model = held_model(&shelf, context);
    rl_book *book = NULL;
    const rl_answer *answer;
    assert_int_equal(rl_book_read(context, model, "v.case", &book), RL_INPUT);
    expect_one_error(&shelf, "these cases are too many to be read at once");
    assert_non_null(book);
    size_t count = rl_book_count(book);
    assert_in_range(count, 2, CASES - 1);
    for (size_t i = 0; i + 1 < count; i++)
        assert_false(rl_case_damaged(rl_book_case(book, i)));
    assert_int_equal(rl_case_answer(rl_book_case(book, count - 2), &answer), RL_OK);
    assert_true(held_fault(answer, held_element(model, "a.wire")) > 0.1);
    rl_book_free(book);
    rl_model_free(model);
    rl_context_free(context);
    assert_int_equal(shelf.out, 0);
}

/* What a file that was refused would have declared is not called unknown. */
static void a_refused_include_has_no_consequences(void **state)
{
    (void)state;
    static const struct { const char *text, *said; } file[] = {
        {"\xff\xfep", "the file is UTF-16"},
        {"language 2\npoint p\n", "this file asks for language 2"},
    };
    for (size_t i = 0; i < sizeof file / sizeof *file; i++) {
        held shelf = {.errors = 0};
        held_put_text(&shelf, "v.gnd", "include \"a.gnd\"\nvehicle v supply 12 V\nclass point loose 1%\n"
                                       "point q returns through p\npoint r class splash in attic\n");
        held_put_text(&shelf, "a.gnd", file[i].text);
        assert_int_equal(read_shelf(&shelf), RL_INPUT);
        expect_one_error(&shelf, file[i].said);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rules_that_are_too_much),
        cmocka_unit_test(includes_that_are_too_much),
        cmocka_unit_test(blanks_that_are_too_much),
        cmocka_unit_test(cases_that_are_too_many),
        cmocka_unit_test(a_refused_include_has_no_consequences),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}

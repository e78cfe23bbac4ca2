/* test_hostile.c: what does not belong where a file is asked for, cases in bulk, other
 * vehicles' cases, output that nobody takes, and screens that are too small.
 */
#ifndef _XOPEN_SOURCE
#define _XOPEN_SOURCE 700
#endif
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "run.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- what is no file, or no text ---- */

static void a_folder_is_no_file(void **state)
{
    (void)state;
    static const char *const command[] = { "check", "rank", "repair" };
    assert_int_equal(mkdir(run_path("dir.gnd"), 0700), 0);
    run r = run_tool("", "check", run_path("dir.gnd"), NULL);
    assert_int_equal(r.status, 1);
    run_has(r.err, "dir.gnd:1:1: error: `");
    run_has(r.err, "dir.gnd` is a folder, not a file [609]\n");
    run_free(&r);
    for (size_t i = 0; i < sizeof command / sizeof *command; i++) {
        r = run_tool("", command[i], run_data("cart.gnd"), run_path("dir.gnd"), NULL);
        assert_int_equal(r.status, 1);
        run_has(r.err, "is a folder, not a file [609]\n");
        run_free(&r);
    }
    r = run_tool("", "check", run_file("by_dir.gnd", "include \"dir.gnd\"\n"), NULL);
    assert_int_equal(r.status, 1);
    run_has(r.err, "by_dir.gnd:1:1: error: `dir.gnd` is a folder: an include names a file [610]\n");
    assert_int_equal(run_count(r.err, ": error: "), 1);
    run_free(&r);
}

/* It was counted twice: once as dropped, once as read. */
static void a_case_line_with_bad_bytes_is_one_case(void **state)
{
    (void)state;
    const char *path = run_file("bytes.case", "case \"a\x1b\x07z\" on cart\nplate dim\ncase \"b\" on cart\nplate dim\n");
    run r = run_tool("", "rank", "--json", run_data("cart.gnd"), path, NULL);
    assert_int_equal(r.status, 1);
    run_has(r.err, "bytes.case:1:8: error: the control character \\x1b");
    assert_int_equal(run_count(r.out, "\n"), 2);
    assert_int_equal(run_count(r.out, "\"damaged\":true"), 1);
    run_has(r.out, "\"case\":\"b\"");
    run_free(&r);
    r = run_tool("", "check", run_data("cart.gnd"), path, NULL);
    run_has(r.out, "2 cases; ");
    run_free(&r);
}

/* Rules where cases are asked for, and the other way round: one error, not one for each line. */
static void files_that_are_changed_over(void **state)
{
    (void)state;
    run r = run_tool("", "rank", run_data("cart.gnd"), run_data("cart.gnd"), NULL);
    assert_int_equal(r.status, 1);
    assert_int_equal(run_count(r.err, ": error: "), 1);
    run_has(r.err, "cart.gnd:6:1: error: a statement of a rule file: a case holds evidence only [502]\n");
    run_free(&r);
    r = run_tool("", "rank", run_data("cart.case"), run_data("cart.gnd"), NULL);
    assert_int_equal(r.status, 1);
    assert_int_equal(run_count(r.err, ": error: "), 1);
    run_has(r.err, "cart.case:2:1: error: this line belongs in a case file, not in the rules [419]\n");
    run_free(&r);
}

/* A part of a label is enough for `repair` as it is for `why`. */
static void a_suspect_is_known_by_its_label(void **state)
{
    (void)state;
    run r = run_tool("", "repair", run_data("cart.gnd"), run_file("label.case", "case \"l\" on cart\nplate dim\n"),
                     "crossmember", NULL);
    assert_int_equal(r.status, 0);
    run_has(r.out, "Repair of rear crossmember stud (rear)");
    run_free(&r);
}

/* ---- cases in bulk ---- */

/* A line more than a case may have is said once, and the next case is read. */
static void a_case_has_a_bound(void **state)
{
    enum { LINES = 100001 };
    (void)state;
    static const char line[] = "plate dim\n", first[] = "case \"long\" on cart\n", last[] = "case \"next\" on cart\n";
    size_t length = strlen(line);
    char *content = malloc(sizeof first + sizeof last + LINES * length);
    assert_non_null(content);
    char *at = content + sprintf(content, "%s", first);
    for (int i = 0; i < LINES; i++, at += length)
        memcpy(at, line, length + 1);
    memcpy(at, last, sizeof last);
    run r = run_tool("", "rank", "--json", run_data("cart.gnd"), run_file("long.case", content), NULL);
    free(content);
    assert_int_equal(r.status, 1);
    assert_int_equal(run_count(r.err, ": error: "), 1);
    run_has(r.err, "long.case:100002:1: error: more than 100000 lines in one case: the rest of it is not read [707]\n");
    assert_int_equal(run_count(r.out, "\n"), 2);
    run_has(r.out, "{\"case\":\"next\",\"log_evidence\":0");
    run_free(&r);
}

static void an_empty_file_is_at_fault(void **state)
{
    static const char *const command[] = { "rank", "repair" };
    (void)state;
    const char *path = run_file("empty.case", "# nothing yet\n");
    for (size_t i = 0; i < sizeof command / sizeof *command; i++) {
        run r = run_tool("", command[i], run_data("cart.gnd"), path, NULL);
        assert_int_equal(r.status, 1);
        run_has(r.err, "empty.case has no case\n");
        assert_string_equal(r.out, "");
        run_free(&r);
    }
    run r = run_tool("", "why", run_data("cart.gnd"), path, "rear", NULL);
    assert_int_equal(r.status, 1);
    run_has(r.err, "ringlug why: ");
    run_free(&r);
    r = run_tool("", "check", run_data("cart.gnd"), path, NULL);
    assert_int_equal(r.status, 0);   /* nothing is wrong with it */
    run_free(&r);
}

static void one_case_of_several_files(void **state)
{
    (void)state;
    run r = run_tool("", "rank", run_data("cart.gnd"), run_data("cart.case"),
                     run_file("other.case", "case \"other\" on cart\nplate dim\n"), "--case", "other", NULL);
    assert_int_equal(r.status, 0);
    assert_int_equal(run_count(r.out, "Case "), 1);
    run_has(r.out, "Case other: ");
    run_free(&r);
    r = run_tool("", "rank", run_data("cart.gnd"), run_path("other.case"), run_data("cart.case"), "--case", "dimm", NULL);
    assert_int_equal(r.status, 1);
    run_has(r.err, "ringlug rank: none of the 2 files has a case `dimm`; did you mean `dim`?\n");
    assert_string_equal(r.out, "");
    run_free(&r);
}

/* ---- cases of other vehicles ---- */

static const char log_of_two[] =
    "case \"1\" on cart\nplate dim\n"
    "case \"2\" on sledge \"another vehicle\"\nrunner stuck\noccasion later\nrunner loose\n"
    "case \"3\" on cart\nplate dead\n";

static void other_vehicles_are_errors(void **state)
{
    (void)state;
    run r = run_tool("", "rank", "--json", run_data("cart.gnd"), run_file("two.case", log_of_two), NULL);
    assert_int_equal(r.status, 1);
    run_has(r.err, "two.case:3:13: error: this case is for vehicle `sledge`, the rules are for `cart` [503]\n");
    run_has(r.err, "two.case: cases of other vehicles are errors; with --own they are left out\n");
    assert_int_equal(run_count(r.out, "\n"), 3);
    run_free(&r);
}

static void other_vehicles_are_left_out(void **state)
{
    (void)state;
    const char *path = run_file("two.case", log_of_two);
    run r = run_tool("", "rank", "--own", "--json", run_data("cart.gnd"), path, NULL);
    assert_int_equal(r.status, 0);
    assert_string_equal(r.err, "");
    assert_int_equal(run_count(r.out, "\n"), 2);
    run_has_not(r.out, "damaged");
    run_has(r.out, "{\"case\":\"1\"");
    run_has(r.out, "{\"case\":\"3\"");
    run_free(&r);
    r = run_tool("", "check", "--own", run_data("cart.gnd"), path, NULL);
    assert_int_equal(r.status, 0);
    run_flatten(r.out);
    run_has(r.out, "2 cases; ");
    run_has(r.out, "Left out: 1 case of other vehicles.");
    run_free(&r);
    r = run_tool("", "check", "--own", "--json", run_data("cart.gnd"), path, NULL);
    run_has(r.out, "\"left_out\":1,");
    run_free(&r);
    r = run_tool("", "why", "--own", run_data("cart.gnd"), path, "rear", NULL);
    assert_int_equal(r.status, 0);
    assert_int_equal(run_count(r.out, "Case "), 2);
    run_free(&r);
    r = run_tool("", "repair", "--own", run_data("cart.gnd"),
                 run_file("sledge.case", "case \"2\" on sledge\nrunner stuck\n"), NULL);
    assert_int_equal(r.status, 1);
    run_has(r.err, "sledge.case has no case of this vehicle (1 of others)\n");
    run_free(&r);
}

/* A fault of writing in a case that is left out is an error all the same, and damages no other. */
static void a_torn_case_of_another_vehicle(void **state)
{
    (void)state;
    const char *path = run_file("torn.case", "case \"1\" on cart\nplate dim\ncase \"2\" on sledge\nrunner 3 3\n");
    run r = run_tool("", "rank", "--own", "--json", run_data("cart.gnd"), path, NULL);
    assert_int_equal(r.status, 1);
    run_has(r.err, "torn.case:4:");
    assert_int_equal(run_count(r.out, "\n"), 1);
    run_has_not(r.out, "damaged");
    run_free(&r);
}

/* ---- contradictions and damage are said alike ---- */

static void a_contradiction_names_its_lines(void **state)
{
    (void)state;
    static const char want[] = "clash.case:4:1: error: case c: this finding contradicts 1 other: line 2\n";
    const char *path = run_file("clash.case", "case \"c\" on cart\nscratch rear crust\nplate dim\ntug rear off\n");
    run r = run_tool("", "rank", run_data("cart.gnd"), path, NULL);
    run_has(r.err, want);
    run_free(&r);
    r = run_tool("", "check", run_data("cart.gnd"), path, NULL);
    run_has(r.err, want);
    assert_int_equal(run_count(r.err, ": error: "), 1);
    run_free(&r);
    r = run_tool("", "why", run_data("cart.gnd"), path, "rear", NULL);
    run_has(r.err, want);
    run_free(&r);
    r = run_tool("", "repair", run_data("cart.gnd"), path, NULL);
    assert_int_equal(r.status, 1);
    run_has(r.err, want);
    run_free(&r);
}

static void a_damaged_case_has_an_object(void **state)
{
    (void)state;
    run r = run_tool("", "repair", "--json", run_data("cart.gnd"), run_data("bad.case"), NULL);
    assert_int_equal(r.status, 1);
    run_has(r.out, "{\"case\":\"misspelt\",\"suspect\":null,\"proof\":null,\"damaged\":true}\n");
    assert_int_equal(run_count(r.out, "\n"), 2);
    run_free(&r);
}

/* ---- output that nobody takes ---- */

static void every_command_says_that_the_disk_is_full(void **state)
{
    (void)state;
    if (access("/dev/full", W_OK) != 0)
        skip();
    const char *rules = run_data("cart.gnd"), *path = run_file("one.case", "case \"one\" on cart\nplate dim\n");
    const char *const line[][6] = {
        { "audit", rules }, { "check", rules, path }, { "rank", rules, path, "--json" }, { "round", rules },
        { "repair", rules, path }, { "why", rules, path, "rear" }, { "simulate", rules, "--cases", "3" },
        { "rehearse", rules, "--faults", "2" }, { "ask", rules, path }, { "ask", "--help" }, { "close", "--help" },
    };
    for (size_t i = 0; i < sizeof line / sizeof *line; i++) {
        run r = run_tool_into("/dev/full", line[i][0], line[i][1], line[i][2], line[i][3], line[i][4], NULL);
        if (r.status != 3)
            fail_msg("%s: status %d, %s", line[i][0], r.status, r.err);
        run_has(r.err, "ringlug: cannot write standard output: ");
        run_free(&r);
    }
}

/* Of thousands of cases the first is ranked, and then nobody takes the pages. */
static void ranking_ends_where_nobody_takes_it(void **state)
{
    (void)state;
    if (access("/dev/full", W_OK) != 0)
        skip();
    char *content = malloc(100000);
    assert_non_null(content);
    size_t length = 0;
    for (int i = 0; i < 1000; i++)
        length += (size_t)sprintf(content + length, "case \"%d\" on cart\nplate normal sure 40%%\n", i);
    /* The last case contradicts itself, which would be said if it were reached. */
    sprintf(content + length, "case \"last\" on cart\nscratch rear crust\ntug rear off\n");
    run r = run_tool_into("/dev/full", "rank", run_data("cart.gnd"), run_file("many.case", content), NULL);
    free(content);
    assert_int_equal(r.status, 3);
    run_has_not(r.err, "contradicts");
    run_has(r.err, "cannot write standard output");
    run_free(&r);
}

/* ---- the prompt where it cannot write, and small screens ---- */

/* No journal can lie beside this case file, whose name is nearly as long as a name may be. */
static void a_journal_finds_another_place(void **state)
{
    (void)state;
    char name[250] = { 0 };
    memset(name, 'n', sizeof name - 1);
    const char *path = run_file(name, "case \"long\" on cart\nplate dim\n");
    talk t = talk_pipe("ask", run_data("cart.gnd"), path, NULL);
    talk_say(&t, "tail_left dim\n");
    talk_until(&t, "next ");
    talk_kill(&t);
    run r = run_tool("resume\nlines\n", "ask", run_data("cart.gnd"), path, NULL);
    run_has(r.out, "Case long: 1 line.");
    run_has(r.out, "Going on with 2 lines.");
    run_has(r.out, "  2  tail_left dim\n");
    run_free(&r);
    char *content = run_content(path);
    assert_non_null(content);
    run_has(content, "tail_left dim\n");   /* the case file itself is written as ever */
    free(content);
}

static void a_narrow_screen_is_not_passed(void **state)
{
    (void)state;
    static const size_t columns[] = { 20, 32, 43, 60 };
    const char *path = run_file("narrow.case", "case \"narrow\" on cart\nplate dim\ntail_left dim\n");
    for (size_t i = 0; i < sizeof columns / sizeof *columns; i++) {
        talk t = talk_columns(columns[i], "rank", run_data("cart.gnd"), path, "--no-color", NULL);
        talk_until(&t, "alone.");
        size_t widest = run_widest(t.heard);   /* the carriage return counts for one */
        if (widest > columns[i] + 1)
            fail_msg("%zu columns: a line of %zu in %s", columns[i], widest, t.heard);
        assert_int_equal(talk_end(&t), 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_folder_is_no_file),
        cmocka_unit_test(a_case_line_with_bad_bytes_is_one_case),
        cmocka_unit_test(files_that_are_changed_over),
        cmocka_unit_test(a_suspect_is_known_by_its_label),
        cmocka_unit_test(a_case_has_a_bound),
        cmocka_unit_test(an_empty_file_is_at_fault),
        cmocka_unit_test(one_case_of_several_files),
        cmocka_unit_test(other_vehicles_are_errors),
        cmocka_unit_test(other_vehicles_are_left_out),
        cmocka_unit_test(a_torn_case_of_another_vehicle),
        cmocka_unit_test(a_contradiction_names_its_lines),
        cmocka_unit_test(a_damaged_case_has_an_object),
        cmocka_unit_test(every_command_says_that_the_disk_is_full),
        cmocka_unit_test(ranking_ends_where_nobody_takes_it),
        cmocka_unit_test(a_journal_finds_another_place),
        cmocka_unit_test(a_narrow_screen_is_not_passed),
    };
    return cmocka_run_group_tests(tests, run_setup, run_teardown) != 0;
}

/* test_ask.c: the prompt fed from a pipe: answers, commands, journal, case files. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "run.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static run ask(const char *input)
{
    return run_tool(input, "ask", run_data("cart.gnd"), NULL);
}

static void a_line_is_answered_briefly(void **state)
{
    (void)state;
    run r = ask("# a comment\n\nlook rear corroded\n");
    assert_int_equal(r.status, 0);
    assert_string_equal(r.err, "");
    run_has(r.out, "  rear               point     rear crossmember… ████░░░░░░    41%  corroded\n");
    run_has(r.out, "\nnext ");
    assert_null(strstr(r.out, "ringlug>"));
    assert_true(run_widest(r.out) <= 80);
    assert_false(run_has_controls(r.out, r.out_length));
    run_free(&r);
}

static void faults_are_status_1_and_the_rest_goes_on(void **state)
{
    (void)state;
    run r = ask("tial_left dim\nlook rear corroded\nlines\n");
    assert_int_equal(r.status, 1);
    assert_non_null(strstr(r.err, "standard input:1:1: error: "));
    assert_non_null(strstr(r.err, "tail_left"));
    run_has(r.out, "  1  look rear corroded\n");
    run_free(&r);
}

static void a_contradicting_line_is_not_kept(void **state)
{
    (void)state;
    run r = ask("scratch rear crust\ntug rear off\nlines\ntail_left dim\nlines\n");
    assert_int_equal(r.status, 1);
    run_has(r.out, "  - scratch rear crust");
    run_has(r.out, "  - tug rear off");
    run_has(r.out, "goes on without it");
    run_has(r.out, "  1  scratch rear crust\n  2  tail_left dim\n");
    run_free(&r);
}

/* Runs one line; what is said of it on standard error, then on standard output. */
static void is_said(const char *line, const char *fault, const char *hint)
{
    run r = ask(line);
    assert_int_equal(r.status, 1);
    if (strstr(r.err, fault) == NULL)
        fail_msg("not said of %s: \"%s\" in: %s", line, fault, r.err);
    assert_string_equal(r.out, hint);
    run_free(&r);
}

static void what_was_meant_is_said(void **state)
{
    (void)state;
    is_said("hlep\n", "1:1: error: there is no command `hlep`; did you mean `help`?\n", "");
    is_said("LINES\n", "there is no command `LINES`; did you mean `lines`?\n", "");
    is_said("quit\n", "there is no command `quit`: `leave` does that\n", "");
    is_said("Delete 1\n", "there is no command `Delete`: `undo` does that\n", "");
    is_said("?\n", "there is no command `?`: `help` does that\n", "");
    is_said("tial_left\n", "nothing is called `tial_left`; did you mean `tail_left`?\n", "");
    is_said("zzz\n", "nothing is called `zzz`: `list` shows what can be said, `help` the commands\n", "");
    is_said("tail\n", "nothing is called `tail`: ", "(4 names fit `tail`: `list tail` shows them.)\n");
    is_said("left tail lamp dim\n", "error: ", "(left tail lamp is called `tail_left` here.)\n");
    is_said("look battery NEGATIVE post clean\n", "error: ", "(battery negative post is called `post` here.)\n");
    is_said("crossmember stud rusty\n", "error: ", "(rear crossmember stud is called `rear` here.)\n");
    is_said("tail lamp dim\n", "error: ", "(3 names fit `tail lamp`: `list tail lamp` shows them.)\n");
    is_said("crank slow\n", "error: ", "");
    is_said("why box\n", "`box` is no element and no load: it cannot be at fault\n", "");
    is_said("why look\n", "`look` is no element and no load: it cannot be at fault\n", "");
    is_said("tail_left\n", "[101]", "After tail_left: normal, flickers, dim, dead, not\n");
    is_said("rear\n", "[101]", "(rear is a point: `where rear` tells where, `why rear` what speaks for and\n"
            "against it.)\n");
    is_said("why hot\n", "nothing is called `hot`\n", "");
}

static void a_file_that_may_not_be_written(void **state)
{
    char line[400], long_name[301] = { 0 };
    (void)state;
    is_said("save a\x1b[31m\n", "control characters may not stand in the name of a file\n", "");
    memset(long_name, 'a', sizeof long_name - 1);
    snprintf(line, sizeof line, "save %s/%s\n", run_folder(), long_name);
    is_said(line, "File name too long\n", "");
    snprintf(line, sizeof line, "save %s/x\n", run_data("cart.gnd"));
    is_said(line, "Not a directory\n", "");
    snprintf(line, sizeof line, "save %s\n", run_data("cart.gnd"));
    is_said(line, "it is there already, choose another name\n", "");
}

/* A declared name is evidence even where a command has the same name. */
static void a_declared_name_wins_over_a_command(void **state)
{
    (void)state;
    run r = ask("show dim\nlines\nshow\n");
    run_has(r.out, "  1  show dim\n");
    assert_int_equal(r.status, 1);   /* `show` alone is a line without its level */
    assert_null(strstr(r.out, "Ground points"));
    run_free(&r);
}

static void undo_takes_back(void **state)
{
    (void)state;
    run r = ask("tail_left dim\nplate dim\nlook rear clean\nundo 2\nundo\nlines\nundo 7\n");
    assert_int_equal(r.status, 1);
    run_has(r.out, "Taken back: plate dim");
    run_has(r.out, "Taken back: look rear clean");
    run_has(r.out, "\n  1  tail_left dim\n");
    assert_null(strstr(r.out, "  2  look"));
    assert_non_null(strstr(r.err, "there is no such line"));
    run_free(&r);
}

static void where_tells_the_way(void **state)
{
    (void)state;
    run r = ask("where rear\nwhere left tail lamp\nwhere raer\nwhere box\n");
    run_flatten(r.out);
    run_has(r.out, "Caution: hot exhaust beside the bracket");
    run_has(r.out, "behind the rear tool box, four bolts, to open it 9 min");
    run_has(r.out, "Torque: 12 Nm");
    run_has(r.out, "Note: two washers");
    run_has(r.out, "Repair: clean to bright metal, 12 min");
    run_has(r.out, "Path to battery: rear crossmember stud (rear), battery negative post (post), battery.");
    run_has(r.out, "left tail lamp (tail_left), load, kind lamp");
    assert_non_null(strstr(r.err, "did you mean `rear`?"));
    assert_int_equal(r.status, 1);
    run_free(&r);
}

static void list_finds_labels(void **state)
{
    (void)state;
    run r = ask("list tail lamp\nlist plate\n");
    assert_int_equal(r.status, 0);
    run_has(r.out, "tail_left ");
    run_has(r.out, "left tail lamp\n");
    run_has(r.out, "After plate: normal, flickers, dim, dead, not");
    run_free(&r);
}

static void save_writes_a_case_that_reads_back(void **state)
{
    (void)state;
    char input[400];
    const char *path = run_path("saved.case");
    snprintf(input, sizeof input, "case \"17 \\\"x\\\"\" on cart \"dim\"\nlook rear corroded\nsave %s\n", path);
    run r = ask(input);
    assert_string_equal(r.err, "");
    assert_int_equal(r.status, 0);
    run_free(&r);
    char *content = run_content(path);
    assert_string_equal(content, "case \"17 \\\"x\\\"\" on cart \"dim\"\nlook rear corroded\n");
    free(content);
    r = run_tool("", "rank", run_data("cart.gnd"), path, NULL);
    assert_int_equal(r.status, 0);
    run_has(r.out, "41%  corroded");
    run_free(&r);
    r = ask(input);   /* a file that is there is not overwritten */
    assert_int_equal(r.status, 1);
    assert_non_null(strstr(r.err, "is there already"));
    run_free(&r);
}

static void a_case_file_keeps_its_layout(void **state)
{
    (void)state;
    const char *path = run_file("own.case", "# first\ncase \"a\" on cart\nplate dim\n\n# second\ncase \"b\" on cart\n"
                                            "look rear\n    corroded   # seen twice\ntail_left dim\n# end\n");
    run r = run_tool("undo 1\ntail_right dim\nsave\nplate dim\n", "ask", run_data("cart.gnd"), path, NULL);
    assert_string_equal(r.err, "");
    assert_int_equal(r.status, 0);
    run_free(&r);
    char *content = run_content(path);
    assert_string_equal(content, "# first\ncase \"a\" on cart\nplate dim\n\n# second\ncase \"b\" on cart\n"
                                 "tail_left dim\n# end\ntail_right dim\nplate dim\n");
    free(content);
    assert_int_not_equal(access(run_path("own.case.journal"), F_OK), 0);
}

static void a_new_case_file_is_made(void **state)
{
    (void)state;
    const char *path = run_path("new-7.case");
    run r = run_tool("plate dim\n", "ask", run_data("cart.gnd"), path, NULL);
    assert_int_equal(r.status, 0);
    run_free(&r);
    char *content = run_content(path);
    assert_non_null(content);
    assert_string_equal(content, "case \"new-7\" on cart\nplate dim\n");
    free(content);
}

static void resume_after(const char *path, const char *expected)
{
    run r = run_tool("resume\nlines\n", "ask", run_data("cart.gnd"), path, NULL);
    run_has(r.out, "left unfinished");
    run_has(r.out, expected);
    assert_int_equal(r.status, 0);
    run_free(&r);
}

static void a_killed_prompt_loses_nothing(void **state)
{
    (void)state;
    const char *path = run_path("crash.case");
    talk t = talk_pipe("ask", run_data("cart.gnd"), path, NULL);
    talk_say(&t, "plate dim\nlook rear clean\n");
    talk_until(&t, "next ");
    talk_until(&t, "next ");
    talk_say(&t, "undo\ntail_left dim\n");
    talk_until(&t, "Taken back");
    talk_until(&t, "next ");
    talk_until(&t, "next ");
    talk_kill(&t);
    assert_null(run_content(path));
    resume_after(path, "\n  1  plate dim\n  2  tail_left dim\n");
    char *content = run_content(path);
    assert_string_equal(content, "case \"crash\" on cart\nplate dim\ntail_left dim\n");
    free(content);
    assert_int_not_equal(access(run_path("crash.case.journal"), F_OK), 0);
}

/* A torn line is not believed, and does not swallow the one behind it. */
static void a_torn_journal_line_is_skipped(void **state)
{
    (void)state;
    const char *path = run_path("torn.case");
    talk t = talk_pipe("ask", run_data("cart.gnd"), path, NULL);
    talk_say(&t, "plate dim\n");
    talk_until(&t, "next ");
    talk_kill(&t);
    const char *journal = run_path("torn.case.journal");
    FILE *f = fopen(journal, "ab");
    assert_non_null(f);
    fputs("\n1234abcd 14 +tail_left d", f);
    fclose(f);
    run r = run_tool("resume\nlines\n", "ask", run_data("cart.gnd"), path, NULL);
    run_has(r.out, "\n  1  plate dim\n");
    run_has(r.out, "1 line of the journal could not be used");
    assert_null(strstr(r.out, "  2  "));
    run_free(&r);
    char *aside = run_content(run_path("torn.case.journal.old1"));
    assert_non_null(aside);   /* what could not be used is kept */
    free(aside);
}

static void two_prompts_do_not_share_a_journal(void **state)
{
    (void)state;
    talk one = talk_pipe("ask", run_data("cart.gnd"), NULL), two = talk_pipe("ask", run_data("cart.gnd"), NULL);
    talk_say(&one, "plate dim\n");
    talk_until(&one, "next ");
    talk_say(&two, "tail_left dim\nlines\n");
    talk_until(&two, "  1  tail_left dim");
    assert_int_equal(talk_end(&two), 0);
    assert_int_equal(talk_end(&one), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_line_is_answered_briefly),
        cmocka_unit_test(faults_are_status_1_and_the_rest_goes_on),
        cmocka_unit_test(a_contradicting_line_is_not_kept),
        cmocka_unit_test(what_was_meant_is_said),
        cmocka_unit_test(a_file_that_may_not_be_written),
        cmocka_unit_test(a_declared_name_wins_over_a_command),
        cmocka_unit_test(undo_takes_back),
        cmocka_unit_test(where_tells_the_way),
        cmocka_unit_test(list_finds_labels),
        cmocka_unit_test(save_writes_a_case_that_reads_back),
        cmocka_unit_test(a_case_file_keeps_its_layout),
        cmocka_unit_test(a_new_case_file_is_made),
        cmocka_unit_test(a_killed_prompt_loses_nothing),
        cmocka_unit_test(a_torn_journal_line_is_skipped),
        cmocka_unit_test(two_prompts_do_not_share_a_journal),
    };
    return cmocka_run_group_tests(tests, run_setup, run_teardown) != 0;
}

/* test_prompt.c: the prompt on a real pseudo-terminal: editing, completion, history, resuming. */
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

static talk prompt(const char *case_file)
{
    talk t = talk_terminal("ask", run_data("cart.gnd"), case_file, NULL);
    talk_prompt(&t);
    return t;
}

static void names_and_levels_are_completed(void **state)
{
    (void)state;
    const char *path = run_path("complete.case");
    talk t = prompt(path);
    talk_say(&t, "pla\tdi\t\n");         /* plate dim */
    talk_until(&t, "next ");
    talk_prompt(&t);
    talk_say(&t, "lo\tre\tcor\t\n");     /* look rear corroded */
    talk_until(&t, "next ");
    talk_prompt(&t);
    talk_say(&t, "lea\t\n");
    assert_int_equal(talk_end(&t), 0);
    char *content = run_content(path);
    assert_non_null(content);
    assert_string_equal(content, "case \"complete\" on cart\nplate dim\nlook rear corroded\n");
    free(content);
}

static void labels_are_completed(void **state)
{
    (void)state;
    const char *path = run_path("labels.case");
    talk t = prompt(path);
    talk_say(&t, "left ta\tdim\n");      /* of "left tail lamp" */
    talk_until(&t, "next ");
    talk_prompt(&t);
    talk_say(&t, "tail lamp\t");         /* several: they are listed */
    talk_until(&t, "tail_left");
    talk_until(&t, "left tail lamp");
    talk_until(&t, "right tail lamp");
    talk_say(&t, "\x15leave\n");
    assert_int_equal(talk_end(&t), 0);
    char *content = run_content(path);
    assert_non_null(content);
    assert_non_null(strstr(content, "\ntail_left dim\n"));
    free(content);
}

static void the_history_brings_lines_back(void **state)
{
    (void)state;
    talk t = prompt(run_path("history.case"));
    talk_say(&t, "plate dim\n");
    talk_until(&t, "next ");
    talk_prompt(&t);
    talk_say(&t, "\x10\x7f\x7f\x7f" "dead\n");   /* the line before, its level exchanged */
    talk_until(&t, "next ");
    talk_prompt(&t);
    talk_say(&t, "lines\n");
    talk_until(&t, "  2  plate dead");
    talk_prompt(&t);
    talk_say(&t, "\x04");
    assert_int_equal(talk_end(&t), 0);
}

static void a_slip_is_answered_and_the_prompt_comes_back(void **state)
{
    (void)state;
    talk t = prompt(run_path("slip.case"));
    talk_say(&t, "tial_left dim\n");
    talk_until(&t, "prompt:1:1: error: ");
    talk_until(&t, "tail_left");
    talk_prompt(&t);
    talk_say(&t, "leave\n");
    assert_int_equal(talk_end(&t), 0);
}

/* What is said of a line at a terminal of `columns`, to the letter. */
static void is_said(size_t columns, const char *line, const char *want)
{
    talk t = talk_columns(columns, "ask", run_data("cart.gnd"), run_path("wrapped.case"), NULL);
    talk_prompt(&t);
    talk_say(&t, line);
    talk_until(&t, want);
    talk_prompt(&t);
    talk_say(&t, "leave\n");
    assert_int_equal(talk_end(&t), 0);
}

static void messages_are_broken_at_the_edge(void **state)
{
    (void)state;
    static const char line[] = "plate dim with bypas at rear\n";
    static const char source[] = "  plate dim with bypas at rear\r\n                 ^^^^^\r\n";
    char want[512];
    snprintf(want, sizeof want, "\nprompt:1:16: error: found `bypas`, expected `bypass`, `jumper`, `swap` or\r\n"
                                "    `repaired`; did you mean `bypass`? [102]\r\n%s", source);
    is_said(80, line, want);
    is_said(0, line, want);   /* taken for 80 */
    snprintf(want, sizeof want, "\nprompt:1:16: error: found `bypas`, expected `bypass`, `jumper`, `swap` or "
                                "`repaired`; did you mean `bypass`? [102]\r\n%s", source);
    is_said(132, line, want);
    snprintf(want, sizeof want, "\nprompt:1:16: error: found `bypas`,\r\n"
                                "    expected `bypass`, `jumper`, `swap`\r\n"
                                "    or `repaired`; did you mean\r\n"
                                "    `bypass`? [102]\r\n%s", source);
    is_said(40, line, want);
}

/* A word that is longer than a line is broken; what has no place is broken as well. */
static void long_words_are_broken_too(void **state)
{
    (void)state;
    talk t = talk_columns(40, "frobnicate-every-thing-there-is-in-the-whole-garage", NULL);
    talk_until(&t, "ringlug: there is no command\r\n"
                   "    `frobnicate-every-thing-there-is-in-\r\n"
                   "    the-whole-garage` (see: ringlug\r\n"
                   "    --help)\r\n");
    assert_int_equal(talk_end(&t), 2);
}

static void a_killed_prompt_offers_to_go_on(void **state)
{
    (void)state;
    talk t = prompt(NULL);
    talk_say(&t, "plate dim\n");
    talk_until(&t, "next ");
    talk_prompt(&t);
    talk_kill(&t);
    t = talk_terminal("ask", run_data("cart.gnd"), NULL);
    talk_until(&t, "left unfinished");
    talk_until(&t, "Go on with it? [y/n] ");
    talk_say(&t, "y\n");
    talk_until(&t, "Going on with 1 line.");
    talk_prompt(&t);
    talk_say(&t, "lines\n");
    talk_until(&t, "  1  plate dim");
    talk_prompt(&t);
    talk_say(&t, "leave\n");
    talk_until(&t, "offers to go on");
    assert_int_equal(talk_end(&t), 0);
    t = talk_terminal("ask", run_data("cart.gnd"), NULL);   /* this time: no, but nothing is lost */
    talk_until(&t, "Go on with it? [y/n] ");
    talk_say(&t, "n\n");
    talk_until(&t, "is kept as");
    talk_prompt(&t);
    talk_say(&t, "leave\n");
    assert_int_equal(talk_end(&t), 0);
}

/* What is typed where a yes or no is asked for is not taken for either, and not lost unseen. */
static void a_question_is_asked_again(void **state)
{
    (void)state;
    const char *path = run_path("again.case");
    talk t = prompt(path);
    talk_say(&t, "plate dim\n");
    talk_until(&t, "next ");
    talk_prompt(&t);
    talk_kill(&t);
    t = talk_terminal("ask", run_data("cart.gnd"), path, NULL);
    talk_until(&t, "Go on with it? [y/n] ");
    talk_say(&t, "tail_left dim\n");
    talk_until(&t, "Answer y or n first; what you typed was not taken.");
    talk_until(&t, "Go on with it? [y/n] ");
    talk_say(&t, " YES \n");
    talk_until(&t, "Going on with 1 line.");
    talk_prompt(&t);
    talk_say(&t, "leave\n");
    assert_int_equal(talk_end(&t), 0);
}

/* The interrupt key gives up the line, not the case. */
static void an_interrupted_line_is_given_up(void **state)
{
    (void)state;
    const char *path = run_path("given_up.case");
    talk t = prompt(path);
    talk_say(&t, "plate dim");
    talk_until(&t, "plate dim");
    talk_say(&t, "\x03");
    talk_until(&t, "(`leave` ends; nothing is lost.)");
    talk_prompt(&t);
    talk_say(&t, "tail_left dim\n");
    talk_until(&t, "next ");
    talk_prompt(&t);
    talk_say(&t, "leave\n");
    assert_int_equal(talk_end(&t), 0);
    char *content = run_content(path);
    assert_non_null(content);
    assert_string_equal(content, "case \"given_up\" on cart\ntail_left dim\n");
    free(content);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_and_levels_are_completed),
        cmocka_unit_test(labels_are_completed),
        cmocka_unit_test(the_history_brings_lines_back),
        cmocka_unit_test(a_slip_is_answered_and_the_prompt_comes_back),
        cmocka_unit_test(messages_are_broken_at_the_edge),
        cmocka_unit_test(long_words_are_broken_too),
        cmocka_unit_test(a_question_is_asked_again),
        cmocka_unit_test(an_interrupted_line_is_given_up),
        cmocka_unit_test(a_killed_prompt_offers_to_go_on),
    };
    return cmocka_run_group_tests(tests, run_setup, run_teardown) != 0;
}

/* cmd_ask.c: `ringlug ask RULES [CASEFILE]`, the prompt.
 *
 * Invariant: what was accepted is on disk before the next prompt appears, and
 * what the prompt says about a line is out before the next line is read.
 */
#include "commands.h"

#include "ask.h"
#include "options.h"
#include "report.h"
#include "status.h"
#include "words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char help[] =
    "usage: ringlug ask RULES [CASEFILE] [OPTIONS]\n"
    "\n"
    "Takes what is seen and measured, line by line, and answers each line with\n"
    "the three leading suspects and the best next test.  `help` at the prompt\n"
    "lists the commands.  With CASEFILE the case is loaded from it and saved to\n"
    "it on leaving.  What was typed is on disk before the next prompt, and\n"
    "survives a crash.  Without a terminal the lines are read as they come.\n"
    "\n"
    "  --log FILE    the case log that `close` appends to; else RINGLUG_LOG, else\n"
    "                ringlug/cases.case in XDG_DATA_HOME\n"
    "  --memory MIB  memory for exact answers (1024)\n"
    "  --no-color    no colour, even on a terminal\n"
    "  --help        this text\n"
    "\n"
    "Exit status: 0 done, 1 a line was at fault (input without a terminal) or a\n"
    "file, 2 wrong usage, 3 the machine failed.\n";

enum { MOST_BYTES = 1 << 28 };

/* "2031-17" of "garage/2031-17.case" */
static char *name_of(const char *path)
{
    const char *name = file_name(path), *dot = strrchr(name, '.');
    size_t length = dot != NULL && dot != name ? (size_t)(dot - name) : strlen(name);
    return tool_copy(name, length);
}

static int new_case(ask *a, const char *name)
{
    return session_status(rl_case_new(a->s.context, a->s.model, name, &a->c));
}

/* Loads the last case of the file; a file that is missing or has none gets a new one. */
static int load_case(ask *a, const char *path)
{
    a->file.path = path;
    rl_status status = file_read(path, MOST_BYTES, &a->file.bytes, &a->file.length);
    if (status == RL_OK) {
        int read = session_book(&a->s, path, &a->book);
        if (read != TOOL_DONE || a->book == NULL)
            return read;
        size_t count = rl_book_count(a->book);
        a->file.loaded = count > 0;
        if (count > 0) {
            a->c = rl_book_case(a->book, count - 1);
            return TOOL_DONE;
        }
    } else if (status != RL_MISSING) {
        report_say("ringlug: cannot read %s: %s", path, rl_status_text(status));
        return status == RL_MEMORY ? TOOL_MACHINE : TOOL_INPUT;
    }
    char *name = name_of(path);
    int made = new_case(a, name);
    free(name);
    return made;
}

static void greet(ask *a)
{
    const rl_answer *answer;
    size_t lines = rl_case_lines(a->c);
    if (a->terminal)
        ask_say(a, "%s. Type what is seen and measured; `help` lists the commands.",
                rl_model_vehicle(a->s.model)->label);
    if (lines > 0) {
        ask_say(a, "Case %s: %zu line%s.", words_case(a->c), lines, lines == 1 ? "" : "s");
        a->contradictory = rl_case_answer(a->c, &answer) == RL_CONTRADICTION;
    }
}

static void loop(ask *a)
{
    size_t length;
    bool too_long;
    while (!a->done) {
        if (fflush(stdout) != 0)
            return;   /* main says so */
        const char *line = input_line(a->in, "ringlug> ", &length, &too_long);
        if (line == NULL) {
            if (a->terminal)
                putchar('\n');   /* behind the prompt */
            break;
        }
        a->number++;
        if (input_cancelled(a->in))
            ask_say(a, "(`leave` ends; nothing is lost.)");
        if (too_long) {
            ask_fault(a, "this line is too long");
            continue;
        }
        if (strlen(line) == length)
            input_remember(a->in, line);
        ask_line(a, line, length);
    }
    if (ferror(stdin))
        ask_failed(a, "cannot read standard input");
}

static void close_all(ask *a)
{
    journal_leave(&a->j);
    if (a->in != NULL)
        input_close(a->in);
    if (a->c != NULL && !a->file.loaded)   /* a loaded one is its book's */
        rl_case_free(a->c);
    if (a->book != NULL)
        rl_book_free(a->book);
    casefile_free(&a->file);
    list_free(&a->saved);
    free(a->left);
    session_close(&a->s);
}

static void run(ask *a, const char *rules, const char *case_file)
{
    a->status = case_file != NULL ? load_case(a, case_file) : new_case(a, "prompt");
    if (a->status != TOOL_DONE)
        return;
    casefile_begin(&a->file, a->c);
    a->in = input_open(a->terminal, a->s.model);
    greet(a);
    if (!ask_keep_open(a, rules, case_file))
        return;
    loop(a);
    if (a->terminal && a->status == TOOL_INPUT)
        a->status = TOOL_DONE;   /* a slip of the keys was seen and answered */
    ask_leave(a);
}

int cmd_ask(int argc, char **argv)
{
    bool plain = false;
    size_t memory = 0;
    const char *log = NULL;
    const option_spec option[] = {
        { .name = "--no-color", .flag = &plain },
        { .name = "--log", .word = &log },
        { .name = "--memory", .count = &memory, .least = 1, .most = 1 << 20 },
    };
    static const char *const operand[] = { "RULES" };
    const usage u = { "ask", help, option, sizeof option / sizeof *option, 1, 2, operand };
    int operands, status = options_read(&u, argc, argv, &operands);
    if (status >= 0)
        return status;
    ask a = { .j = { .fd = -1 }, .log = log, .terminal = isatty(STDIN_FILENO) && isatty(STDOUT_FILENO) };
    a.sc = term_screen(stdout, plain);
    a.status = session_open(&a.s, argv[0], memory);
    if (a.s.model != NULL)
        run(&a, argv[0], operands > 1 ? argv[1] : NULL);
    status = a.status;
    close_all(&a);
    return status;
}

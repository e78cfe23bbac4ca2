/* cmd_close.c: `ringlug close RULES CASEFILE --found X:STATE`: a proven case goes to the case log.
 *
 * Invariant: the case file is only read; the log has the case once however often
 * the command is run.
 */
#include "commands.h"

#include "closing.h"
#include "options.h"
#include "repair.h"
#include "report.h"
#include "session.h"
#include "status.h"
#include "term.h"
#include "words_repair.h"
#include "words.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

typedef struct close_options {
    bool anyway, own;
    size_t memory;
    const char *found, *only, *log;
} close_options;

static const char help[] =
    "usage: ringlug close RULES CASEFILE [OPTIONS]\n"
    "\n"
    "Appends a case whose repair is proved to the club's case log, with a `found`\n"
    "line for each element that was at fault. CASEFILE stays as it is. A case is\n"
    "proved by an occasion `with repaired X` in it: `ringlug repair` says how far.\n"
    "\n"
    "  --found X:STATE    what was found; several with commas: rear:corroded,f2:open.\n"
    "                     Without it: the `found` lines of the case, else what was\n"
    "                     repaired, in its likeliest state\n"
    "  --case NAME        the case, if the file has several\n"
    "  --log FILE         the log; else RINGLUG_LOG, else ringlug/cases.case in\n"
    "                     XDG_DATA_HOME\n"
    "  --anyway           even if the repair is not proved\n"
    "  --own              leave cases of other vehicles out, without an error\n"
    "  --memory MIB       memory for exact answers (1024)\n"
    "  --help             this text\n"
    "\n"
    "Exit status: 0 done, 1 a file, the case or what was found is at fault, or the\n"
    "repair is not proved, 2 wrong usage, 3 the machine failed (the log too).\n";

static int fault(const char *what, const char *which)
{
    report_say("ringlug close: %s%s", what, which);
    return TOOL_INPUT;
}

/* The one case that is meant, or NULL, said. */
static rl_case *the_case(const rl_book *book, const close_options *o, const char *path)
{
    rl_case *found = NULL;
    size_t count = 0;
    for (size_t i = 0; i < rl_book_count(book); i++) {
        rl_case *c = rl_book_case(book, i);
        if (o->only == NULL || strcmp(rl_case_name(c), o->only) == 0) {
            found = c;
            count++;
        }
    }
    if (count == 1 && !rl_case_damaged(found))
        return found;
    if (count > 1)
        report_say("ringlug close: %s has %zu such cases: name one by --case", path, count);
    else if (count == 0 && o->only != NULL)
        report_say("ringlug close: %s has no case %s", path, o->only);
    else if (count == 0)
        report_say("ringlug close: %s has no case", path);
    else
        report_say("ringlug close: case %s has errors and is not closed", words_case(found));
    return NULL;
}

/* Whether the repair is proved; says what is missing. */
static bool proved(const session *s, rl_case *c, size_t element)
{
    const rl_proof *proof;
    text said = { 0 };
    if (rl_case_proof(c, element, &proof) != RL_OK || proof->verdict == RL_PROOF_CONFIRMED)
        return true;
    words_verdict(&said, s->model, element, proof);
    report_say("ringlug close: case %s: %s `ringlug repair` shows more; --anyway closes it all the same",
               words_case(c), text_get(&said));
    text_free(&said);
    return false;
}

/* Puts the found lines into the case. */
static int add_lines(rl_case *c, const text *found)
{
    const char *at = text_get(found);
    for (size_t number = 1; *at != '\0'; number++) {
        size_t length = strcspn(at, "\n");
        rl_status status = rl_case_add(c, at, length, "--found", number);
        if (status != RL_OK)
            return session_status(status);
        at += length + (at[length] == '\n');
    }
    return TOOL_DONE;
}

static bool same_file(const char *a, const char *b)
{
    struct stat one, other;
    return stat(a, &one) == 0 && stat(b, &other) == 0 && one.st_dev == other.st_dev && one.st_ino == other.st_ino;
}

static int append(const session *s, const rl_case *c, const close_options *o, const char *path)
{
    char tag[CASELOG_TAG + 1];
    text log = { 0 }, why = { 0 };
    caselog_note note = { 0 };
    int status = TOOL_MACHINE;
    closing_tag(s->model, c, tag);
    if (!caselog_place(o->log, &log, &why)) {
        report_say("ringlug close: %s", text_get(&why));
    } else if (same_file(path, text_get(&log))) {
        status = fault("the case file is the case log itself: ", path);
    } else {
        caselog_result result = closing_append(s->model, c, text_get(&log), tag, &note, &why);
        if (result == CASELOG_FAILED) {
            report_say("ringlug close: %s", text_get(&why));
        } else {
            text said = { 0 }, safe = { 0 };
            closing_words(&said, result, text_get(&log), &note);
            term_safe(&safe, text_get(&said));
            printf("%s\n", text_get(&safe));
            text_free(&said);
            text_free(&safe);
            status = TOOL_DONE;
        }
    }
    caselog_note_free(&note);
    text_free(&log);
    text_free(&why);
    return status;
}

static int close_case(const session *s, rl_case *c, const close_options *o, const char *path)
{
    size_t element = 0;
    text found = { 0 }, why = { 0 };
    rl_status answered = repair_subject(s->model, c, &element);
    int status = session_status(answered);
    if (answered == RL_CONTRADICTION)
        fault("the findings contradict each other (`ringlug rank` shows which): case ", words_case(c));
    if (answered != RL_OK)
        return status;
    if (!closing_found(&found, &why, s->model, c, element, o->found != NULL ? o->found : ""))
        status = fault(text_get(&why), "");
    else if (!o->anyway && !proved(s, c, element))
        status = TOOL_INPUT;
    if (status == TOOL_DONE)
        status = add_lines(c, &found);
    if (status == TOOL_DONE)
        status = append(s, c, o, path);
    text_free(&found);
    text_free(&why);
    return status;
}

static int close_file(session *s, const close_options *o, const char *path)
{
    rl_book *book;
    int status = session_book(s, path, &book);
    if (book == NULL)
        return status;
    rl_case *c = the_case(book, o, path);
    status = c != NULL ? close_case(s, c, o, path) : TOOL_INPUT;
    rl_book_free(book);
    return status;
}

int cmd_close(int argc, char **argv)
{
    close_options o = { 0 };
    const option_spec option[] = {
        { .name = "--anyway", .flag = &o.anyway },
        { .name = "--found", .word = &o.found },
        { .name = "--case", .word = &o.only },
        { .name = "--log", .word = &o.log },
        { .name = "--own", .flag = &o.own },
        { .name = "--memory", .count = &o.memory, .least = 1, .most = 1 << 20 },
    };
    static const char *const operand[] = { "RULES", "CASEFILE" };
    const usage u = { "close", help, option, sizeof option / sizeof *option, 2, 2, operand };
    int operands, status = options_read(&u, argc, argv, &operands);
    if (status >= 0)
        return status;
    session s;
    status = session_open(&s, argv[0], o.memory);
    s.own = o.own;
    if (s.model != NULL && rl_model_vehicle(s.model)->elements == 0)
        status = fault("the rules declare nothing that could be at fault", "");
    else if (s.model != NULL)
        status = status_worse(status, close_file(&s, &o, argv[1]));
    session_close(&s);
    return status;
}

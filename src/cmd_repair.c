/* cmd_repair.c: `ringlug repair RULES CASEFILE [SUSPECT]`: the sheet of a repair, for
 * those who do not use the prompt.
 *
 * Invariant: the suspect is known before any case is asked; one bad case stops
 * no other, its status is kept to the end.
 */
#include "commands.h"

#include "options.h"
#include "page.h"
#include "repair.h"
#include "report.h"
#include "status.h"

#include <stdlib.h>
#include <string.h>

typedef struct repair_options {
    bool json, plain;
    size_t memory;
    const char *only;           /* the name of the one case asked for, or NULL */
} repair_options;

static const char help[] =
    "usage: ringlug repair RULES CASEFILE [SUSPECT] [OPTIONS]\n"
    "\n"
    "For each case the sheet of the repair of SUSPECT: where it is, what to remove\n"
    "to get at it, cautions, the steps, the readings that prove the repair and what\n"
    "they may read, and the complaints that must be gone. An occasion of the case\n"
    "`with repaired SUSPECT` is taken as the proof, and it is said how far that\n"
    "goes. Without SUSPECT: what the case has repaired already, else the leader.\n"
    "\n"
    "  --json             one JSON object for each case, each on a line\n"
    "  --case NAME        this case of the file only\n"
    "  --memory MIB       memory for exact answers (1024)\n"
    "  --no-color         no colour, even on a terminal\n"
    "  --help             this text\n"
    "\n"
    "Exit status: 0 done, 1 a file, a case or the suspect is at fault, 2 wrong\n"
    "usage, 3 the machine failed.\n";

/* Says on stderr that a case has no answer, as far as that was not said yet. */
static void say_no_answer(const repair_options *o, session *s, const screen *sc, rl_case *c, rl_status status)
{
    page p = { .screen = sc, .model = s->model, .tests = 1, .explanations = 1 };
    if (status == RL_CONTRADICTION && o->json)
        repair_json_contradiction(sc->out, c);
    else if (status == RL_CONTRADICTION)
        page_contradiction(&p, c);
    if (status == RL_CONTRADICTION)
        report_say("ringlug repair: the findings of case %s contradict each other: `ringlug rank` shows which",
                   rl_case_name(c));
}

static int repair_case(session *s, const repair_options *o, const screen *sc, rl_case *c, int suspect)
{
    size_t element = (size_t)suspect;
    rl_status status = RL_OK;
    if (rl_case_damaged(c)) {
        report_say("ringlug repair: case %s has errors and is left out", rl_case_name(c));
        return TOOL_INPUT;
    }
    if (suspect < 0)
        status = repair_subject(s->model, c, &element);
    const rl_proof *proof;
    if (status == RL_OK)
        status = rl_case_proof(c, element, &proof);
    if (status == RL_OK && o->json)
        status = repair_json(sc->out, s->model, c, element);
    else if (status == RL_OK) {
        text line = { 0 };
        term_safe(&line, rl_case_name(c));
        term_wrap(sc, "Case ", 5, text_get(&line));
        text_free(&line);
        status = repair_sheet(sc, s->model, c, element);
        if (status == RL_OK && proof->verdict != RL_PROOF_NONE) {
            fputc('\n', sc->out);
            term_heading(sc, "The proof so far");
            status = repair_progress(sc, s->model, c, element);
        }
        fputc('\n', sc->out);
    }
    say_no_answer(o, s, sc, c, status);
    return session_status(status);
}

static int repair_file(session *s, const repair_options *o, const screen *sc, const char *path, const char *name)
{
    rl_book *book;
    text why = { 0 };
    size_t done = 0;
    int suspect = name != NULL ? repair_element(s->model, name, &why) : -1;
    if (why.length > 0) {
        report_say("ringlug repair: %s", text_get(&why));
        text_free(&why);
        return TOOL_INPUT;
    }
    int status = session_book(s, path, &book);
    if (book == NULL)
        return status;
    for (size_t i = 0; i < rl_book_count(book); i++) {
        rl_case *c = rl_book_case(book, i);
        if (o->only != NULL && strcmp(o->only, rl_case_name(c)) != 0)
            continue;
        status = status_worse(status, repair_case(s, o, sc, c, suspect));
        done++;
    }
    if (done == 0) {
        report_say(o->only != NULL ? "ringlug repair: %s has no case %s" : "ringlug repair: %s has no case%s", path,
                   o->only != NULL ? o->only : "");
        status = status_worse(status, TOOL_INPUT);
    }
    rl_book_free(book);
    return status;
}

int cmd_repair(int argc, char **argv)
{
    repair_options o = { 0 };
    const option_spec option[] = {
        { .name = "--json", .flag = &o.json },
        { .name = "--no-color", .flag = &o.plain },
        { .name = "--case", .word = &o.only },
        { .name = "--memory", .count = &o.memory, .least = 1, .most = 1 << 20 },
    };
    static const char *const operand[] = { "RULES", "CASEFILE" };
    const usage u = { "repair", help, option, sizeof option / sizeof *option, 2, 3, operand };
    int operands, status = options_read(&u, argc, argv, &operands);
    if (status >= 0)
        return status;
    session s;
    status = session_open(&s, argv[0], o.memory);
    screen sc = term_screen(stdout, o.plain);
    if (s.model != NULL && rl_model_vehicle(s.model)->elements == 0) {
        report_say("ringlug repair: the rules declare nothing that could be at fault");
        status = status_worse(status, TOOL_INPUT);
    } else if (s.model != NULL) {
        status = status_worse(status, repair_file(&s, &o, &sc, argv[1], operands > 2 ? argv[2] : NULL));
    }
    session_close(&s);
    return status;
}

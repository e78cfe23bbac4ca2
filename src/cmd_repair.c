/* cmd_repair.c: `ringlug repair RULES CASEFILE [SUSPECT]`: the sheet of a repair, for
 * those who do not use the prompt.
 *
 * Invariant: the suspect is known before any case is asked.
 */
#include "commands.h"

#include "cases.h"
#include "options.h"
#include "page.h"
#include "repair.h"
#include "report.h"
#include "status.h"
#include "suspect.h"
#include "words.h"

#include <stdlib.h>
#include <string.h>

typedef struct repair_options {
    bool json, plain, own;
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
    "  --own              leave cases of other vehicles out, without an error\n"
    "  --memory MIB       memory for exact answers (1024)\n"
    "  --no-color         no colour, even on a terminal\n"
    "  --help             this text\n"
    "\n"
    "Exit status: 0 done, 1 a file, a case or the suspect is at fault, 2 wrong\n"
    "usage, 3 the machine failed.\n";

/* What one case needs. */
typedef struct mending {
    session *s;
    const repair_options *o;
    const screen *sc;
    int suspect;                /* -1: what the case itself says */
} mending;

static rl_status show_contradiction(const mending *m, rl_case *c)
{
    page p = { .screen = m->sc, .model = m->s->model, .tests = 1, .explanations = 1 };
    rl_status said = RL_OK;
    if (m->o->json)
        repair_json_none(m->sc->out, c);
    else
        said = page_contradiction(&p, c);
    return said == RL_OK ? RL_CONTRADICTION : said;
}

/* The sheet, and behind it how far the repair is proved already. */
static rl_status print_sheet(const mending *m, rl_case *c, size_t element, const rl_proof *proof)
{
    text line = { 0 };
    term_safe(&line, words_case(c));
    term_wrap(m->sc, "Case ", 5, text_get(&line));
    text_free(&line);
    rl_status status = repair_sheet(m->sc, m->s->model, c, element);
    if (status == RL_OK && proof->verdict != RL_PROOF_NONE) {
        fputc('\n', m->sc->out);
        term_heading(m->sc, "The proof so far");
        status = repair_progress(m->sc, m->s->model, c, element);
    }
    fputc('\n', m->sc->out);
    return status;
}

static int repair_case(void *user, rl_case *c)
{
    const mending *m = user;
    size_t element = (size_t)m->suspect;
    rl_status status = RL_OK;
    const rl_proof *proof;
    if (rl_case_damaged(c)) {
        report_say("ringlug repair: case %s has errors and is left out", words_case(c));
        if (m->o->json)
            repair_json_none(m->sc->out, c);
        return TOOL_INPUT;
    }
    if (m->suspect < 0)
        status = repair_subject(m->s->model, c, &element);
    if (status == RL_OK)
        status = rl_case_proof(c, element, &proof);
    if (status == RL_OK)
        status = m->o->json ? repair_json(m->sc->out, m->s->model, c, element) : print_sheet(m, c, element, proof);
    if (status == RL_CONTRADICTION)
        status = show_contradiction(m, c);
    return cases_status(m->s, c, status);
}

static int repair_file(session *s, const repair_options *o, const screen *sc, char *const *path, const char *name)
{
    mending m = { s, o, sc, name != NULL ? suspect_find("repair", s->model, name) : -1 };
    const cases all = { s, "repair", o->only, repair_case, &m };
    return name != NULL && m.suspect < 0 ? TOOL_INPUT : cases_visit(&all, path, 1);
}

int cmd_repair(int argc, char **argv)
{
    repair_options o = { 0 };
    const option_spec option[] = {
        { .name = "--json", .flag = &o.json },
        { .name = "--no-color", .flag = &o.plain },
        { .name = "--case", .word = &o.only },
        { .name = "--own", .flag = &o.own },
        { .name = "--memory", .count = &o.memory, .least = 1, .most = 1 << 20 },
    };
    static const char *const operand[] = { "RULES", "CASEFILE" };
    const usage u = { "repair", help, option, sizeof option / sizeof *option, 2, 3, operand };
    int operands, status = options_read(&u, argc, argv, &operands);
    if (status >= 0)
        return status;
    session s;
    status = session_open(&s, argv[0], o.memory);
    s.own = o.own;
    screen sc = term_screen(stdout, o.plain);
    if (s.model != NULL && rl_model_vehicle(s.model)->elements == 0) {
        report_say("ringlug repair: the rules declare nothing that could be at fault");
        status = status_worse(status, TOOL_INPUT);
    } else if (s.model != NULL) {
        status = status_worse(status, repair_file(&s, &o, &sc, argv + 1, operands > 2 ? argv[2] : NULL));
    }
    session_close(&s);
    return status;
}

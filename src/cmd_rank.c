/* cmd_rank.c: `ringlug rank RULES CASEFILE…`.  Invariant: a case is ranked from its
 * own lines alone, whatever the cases before it came to. */
#include "commands.h"

#include "cases.h"
#include "json.h"
#include "options.h"
#include "page.h"
#include "status.h"
#include "words.h"

#include <stdint.h>

typedef struct rank_options {
    bool json, plain, recipes, own;
    const char *only;           /* the name of the one case asked for, or NULL */
    size_t explanations, tests, lookahead, memory;
} rank_options;

enum { NOT_SAID = INT32_MAX, JSON_TESTS = 10, PAGE_TESTS = 5 };

static const char help[] =
    "usage: ringlug rank RULES CASEFILE... [OPTIONS]\n"
    "\n"
    "For each case: how likely each element is at fault, what speaks for and\n"
    "against the first suspect, and the next tests with minutes and cautions.\n"
    "\n"
    "  --json             one JSON object for each case, each on a line\n"
    "  --explanations K   joint explanations to show (5)\n"
    "  --tests K          next tests to show (10 with --json, else 5; 0: all)\n"
    "  --lookahead N      2: also pairs of tests, the second by what the first shows\n"
    "  --case NAME        this case of the files only\n"
    "  --own              leave cases of other vehicles out, without an error\n"
    "  --recipes          each test step by step, not the first two in short\n"
    "  --memory MIB       memory for exact answers (1024)\n"
    "  --no-color         no colour, even on a terminal\n"
    "  --help             this text\n"
    "\n"
    "Exit status: 0 done, 1 a file or case is at fault, 2 wrong usage, 3 the\n"
    "machine failed.\n";

static size_t tests_of(const rank_options *o)
{
    return o->tests != NOT_SAID ? o->tests : o->json ? JSON_TESTS : PAGE_TESTS;
}

/* What ranking one case needs. */
typedef struct ranking {
    session *s;
    const rank_options *o;
    const screen *sc;
} ranking;

static int rank_case(void *user, rl_case *c)
{
    const ranking *r = user;
    session *s = r->s;
    const rank_options *o = r->o;
    const screen *sc = r->sc;
    rl_status status = RL_INPUT;   /* of a damaged case: its faults were said when it was read */
    if (o->json) {
        const json_amount most = { o->explanations, tests_of(o), o->lookahead };
        status = json_rank(sc->out, s->model, c, &most);
    } else if (!rl_case_damaged(c)) {
        page p = { .screen = sc, .model = s->model, .tests = tests_of(o), .explanations = o->explanations,
                   .recipes = o->recipes, .lookahead = o->lookahead };
        status = page_case(&p, c);
        fputc('\n', sc->out);
    } else {
        text said = { 0 };
        term_safe(&said, words_case(c));
        text_add(&said, " has errors and is not ranked.");
        term_wrap(sc, "Case ", 5, text_get(&said));
        fputc('\n', sc->out);
        text_free(&said);
    }
    return cases_status(s, c, status);
}

int cmd_rank(int argc, char **argv)
{
    rank_options o = { .explanations = 5, .tests = NOT_SAID, .lookahead = 1 };
    const option_spec option[] = {
        { .name = "--json", .flag = &o.json },
        { .name = "--no-color", .flag = &o.plain },
        { .name = "--explanations", .count = &o.explanations, .most = 100000 },
        { .name = "--tests", .count = &o.tests, .most = 1000000 },
        { .name = "--lookahead", .count = &o.lookahead, .least = 1, .most = 2 },
        { .name = "--recipes", .flag = &o.recipes },
        { .name = "--case", .word = &o.only },
        { .name = "--own", .flag = &o.own },
        { .name = "--memory", .count = &o.memory, .least = 1, .most = 1 << 20 },
    };
    static const char *const operand[] = { "RULES", "CASEFILE" };
    const usage u = { "rank", help, option, sizeof option / sizeof *option, 2, -1, operand };
    int operands, status = options_read(&u, argc, argv, &operands);
    if (status >= 0)
        return status;
    session s;
    status = session_open(&s, argv[0], o.memory);
    screen sc = term_screen(stdout, o.plain);
    ranking r = { &s, &o, &sc };
    const cases all = { &s, "rank", o.only, rank_case, &r };
    s.own = o.own;
    if (s.model != NULL)
        status = status_worse(status, cases_visit(&all, argv + 1, operands - 1));
    session_close(&s);
    return status;
}

/* cmd_rank.c: `ringlug rank RULES CASEFILE…`.  Invariant: one bad case stops no
 * other; its status is kept to the end. */
#include "commands.h"

#include "json.h"
#include "options.h"
#include "page.h"
#include "status.h"

#include <stdint.h>

typedef struct rank_options {
    bool json, plain, recipes;
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

/* The message for scripts and for those who read only stderr. */
static void say_contradiction(session *s, rl_case *c)
{
    const size_t *lines;
    size_t count;
    if (rl_case_contradiction(c, &lines, &count) != RL_OK || count == 0)
        return;
    text said = { 0 };
    text_add(&said, "case %s: this finding contradicts %zu other%s", rl_case_name(c), count - 1, count == 2 ? "" : "s");
    if (count == 1) {
        text_clear(&said);
        text_add(&said, "case %s: this finding cannot be, whatever is at fault", rl_case_name(c));
    }
    session_say(s, rl_case_line(c, lines[count - 1]), text_get(&said));
    text_free(&said);
}

static int rank_case(session *s, const rank_options *o, const screen *sc, rl_case *c)
{
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
        term_safe(&said, rl_case_name(c));
        text_add(&said, " has errors and is not ranked.");
        term_wrap(sc, "Case ", 5, text_get(&said));
        fputc('\n', sc->out);
        text_free(&said);
    }
    if (status == RL_CONTRADICTION)
        say_contradiction(s, c);
    return session_status(status);
}

static int rank_file(session *s, const rank_options *o, const screen *sc, const char *path)
{
    rl_book *book;
    int status = session_book(s, path, &book);
    if (book == NULL)
        return status;
    for (size_t i = 0; i < rl_book_count(book); i++)
        status = status_worse(status, rank_case(s, o, sc, rl_book_case(book, i)));
    rl_book_free(book);
    return status;
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
    for (int i = 1; i < operands && s.model != NULL; i++)
        status = status_worse(status, rank_file(&s, &o, &sc, argv[i]));
    session_close(&s);
    return status;
}

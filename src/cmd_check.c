/* cmd_check.c: `ringlug check RULES [CASEFILE…]`.  Invariant: every file is read
 * and every case asked, whatever was found before; any fault gives status 1. */
#include "commands.h"

#include "cases.h"
#include "json.h"
#include "options.h"
#include "session.h"
#include "status.h"
#include "term.h"
#include "words.h"

#include <assert.h>
#include <stdlib.h>

typedef struct check {
    session s;
    screen sc;
    bool json, plain, own;
    size_t memory;
    bool *touched;
    size_t cases, passed, expected, held;
    json_t *list;              /* of cases, for --json */
} check;

static const char help[] =
    "usage: ringlug check RULES [CASEFILE...] [OPTIONS]\n"
    "\n"
    "Says every error and warning of the files.  With cases: whether their\n"
    "`expect` lines hold, and which statements of the rules no case has touched.\n"
    "\n"
    "  --json        one JSON object\n"
    "  --own         leave cases of other vehicles out, without an error\n"
    "  --memory MIB  memory for exact answers (1024)\n"
    "  --no-color    no colour, even on a terminal\n"
    "  --help        this text\n"
    "\n"
    "Exit status: 0 done, 1 an error or an expectation that does not hold, 2 wrong\n"
    "usage, 3 the machine failed.\n";

static void say(const check *k, const char *first, const text *safe)
{
    if (!k->json)
        term_wrap(&k->sc, first, term_cells(first), text_get(safe));
}

/* One expectation: on the page, in the JSON list, and on stderr if it fails. */
static void check_expectation(check *k, rl_case *c, const rl_expectation *x, json_t *list)
{
    assert(x->line < rl_case_lines(c));
    const rl_line *line = rl_case_line(c, x->line);
    text said = { 0 };
    term_safe(&said, line->text);
    text_add(&said, ": the probability is ");
    words_percent(&said, x->p);
    say(k, x->held ? "  holds  " : "  FAILS  ", &said);
    k->expected++;
    k->held += x->held;
    if (list != NULL)
        json_array_append_new(list, json_pack("{s:o,s:b,s:f}", "line", json_words(line->text), "held", (int)x->held,
                                              "p", x->p));
    if (!x->held) {
        text_clear(&said);
        text_add(&said, "this expectation does not hold: the probability is %.6g", x->p);
        session_say(&k->s, line, text_get(&said));
    }
    text_free(&said);
}

static int check_case(check *k, rl_case *c, const char *path)
{
    const rl_expectation *x = NULL;
    size_t count = 0, before = k->expected - k->held;
    text said = { 0 };
    term_safe(&said, words_case(c));
    k->cases++;
    rl_status status = rl_case_damaged(c) ? RL_INPUT : rl_case_expectations(c, &x, &count);
    const rl_answer *answer;
    if (status == RL_OK && count == 0)   /* contradictions are looked for all the same */
        status = rl_case_answer(c, &answer);
    text_add(&said, rl_case_damaged(c) ? ": has errors" : status == RL_CONTRADICTION ? ": its findings contradict each other"
                                                        : count == 0 ? ": nothing expected" : "");
    say(k, "case ", &said);
    text_free(&said);
    json_t *list = k->json ? json_array() : NULL;
    for (size_t i = 0; status == RL_OK && i < count; i++)
        check_expectation(k, c, &x[i], list);
    rl_status touched = rl_case_touch(c, k->touched);
    if (k->json)
        json_array_append_new(k->list, json_pack("{s:o,s:o,s:s,s:o}", "case", json_words(rl_case_name(c)), "file",
                                                 json_words(path), "status", rl_status_text(status), "expect", list));
    int result = status_worse(cases_status(&k->s, c, status), session_status(touched));
    rl_case_rest(c);   /* of thousands, one is at hand */
    return status_worse(result, k->expected - k->held > before ? TOOL_INPUT : TOOL_DONE);
}

static int check_file(check *k, const char *path)
{
    rl_book *book;
    int status = session_book(&k->s, path, &book);
    if (book == NULL)
        return status;
    for (size_t i = 0; i < rl_book_count(book) && ferror(stdout) == 0; i++)
        status = status_worse(status, check_case(k, rl_book_case(book, i), path));
    k->passed += rl_book_passed(book);
    rl_book_free(book);
    return status;
}

/* Where no case could be read at all, that is the news: no list of everything then. */
static size_t untouched(const check *k, json_t *list)
{
    bool shown = !k->json && k->cases > 0;
    size_t flags = rl_model_flags(k->s.model), count = 0;
    for (size_t i = 0; i < flags; i++) {
        if (k->touched[i])
            continue;
        rl_untouched u = rl_model_flag(k->s.model, i);
        text said = { 0 };
        if (count++ == 0 && shown)
            term_wrap(&k->sc, "", 0, "Not touched by any case:");
        term_safe(&said, u.path != NULL ? u.path : "");
        text_add(&said, ":%zu: ", u.line);
        term_safe(&said, u.what);
        if (shown)
            say(k, "  ", &said);
        text_free(&said);
        if (list != NULL)
            json_array_append_new(list, json_pack("{s:o,s:I,s:o}", "file", json_words(u.path != NULL ? u.path : ""),
                                                  "line", (json_int_t)u.line, "what", json_words(u.what)));
    }
    return count;
}

static void print_counts(const check *k, size_t not_touched, bool with_cases)
{
    const rl_vehicle *v = rl_model_vehicle(k->s.model);
    text said = { 0 };
    term_safe(&said, v->label);
    text_add(&said, ": elements %zu, kinds %zu, areas %zu, symptoms %zu, inspections %zu; %zu error%s, %zu warning%s.",
             v->elements, v->kinds, v->areas, v->symptoms, v->inspections, k->s.errors, k->s.errors == 1 ? "" : "s",
             k->s.warnings, k->s.warnings == 1 ? "" : "s");
    say(k, "", &said);
    if (with_cases) {
        text_clear(&said);
        text_add(&said, "%zu case%s; %zu of %zu expectations hold; %zu of %zu statements not touched.", k->cases,
                 k->cases == 1 ? "" : "s", k->held, k->expected, not_touched, rl_model_flags(k->s.model));
        if (k->passed > 0)
            text_add(&said, " Left out: %zu case%s of other vehicles.", k->passed, k->passed == 1 ? "" : "s");
        say(k, "", &said);
    }
    text_free(&said);
}

static int check_all(check *k, int count, char **path)
{
    int status = TOOL_DONE;
    json_t *list = k->json ? json_array() : NULL;
    size_t not_touched = 0;
    k->touched = tool_take(rl_model_flags(k->s.model) * sizeof *k->touched);
    k->list = k->json ? json_array() : NULL;
    for (int i = 0; i < count; i++)
        status = status_worse(status, check_file(k, path[i]));
    if (count > 0)
        not_touched = untouched(k, list);
    print_counts(k, not_touched, count > 0);
    if (k->json)
        json_print(k->sc.out, json_pack("{s:o,s:I,s:I,s:I,s:I,s:I,s:o,s:o}", "vehicle",
                                        json_words(rl_model_vehicle(k->s.model)->id), "errors",
                                        (json_int_t)k->s.errors, "warnings", (json_int_t)k->s.warnings, "left_out",
                                        (json_int_t)k->passed, "expected",
                                        (json_int_t)k->expected, "held", (json_int_t)k->held, "cases", k->list,
                                        "untouched", list));
    free(k->touched);
    return status;
}

int cmd_check(int argc, char **argv)
{
    check k = { 0 };
    const option_spec option[] = {
        { .name = "--json", .flag = &k.json },
        { .name = "--no-color", .flag = &k.plain },
        { .name = "--own", .flag = &k.own },
        { .name = "--memory", .count = &k.memory, .least = 1, .most = 1 << 20 },
    };
    static const char *const operand[] = { "RULES" };
    const usage u = { "check", help, option, sizeof option / sizeof *option, 1, -1, operand };
    int operands, status = options_read(&u, argc, argv, &operands);
    if (status >= 0)
        return status;
    status = session_open(&k.s, argv[0], k.memory);
    k.s.own = k.own;
    k.sc = term_screen(stdout, k.plain);
    if (k.s.model != NULL)
        status = status_worse(status, check_all(&k, operands - 1, argv + 1));
    session_close(&k.s);
    return status;
}

/* cmd_why.c: `ringlug why RULES CASEFILE SUSPECT`: what each finding says for or
 * against one suspect.
 *
 * Invariant: the suspect is known before any case is asked.
 */
#include "commands.h"

#include "cases.h"
#include "json.h"
#include "options.h"
#include "page.h"
#include "report.h"
#include "status.h"
#include "suspect.h"
#include "term.h"
#include "words.h"
#include "words_why.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct why_options {
    bool json, plain, own;
    size_t memory;
    const char *only;           /* the name of the one case asked for, or NULL */
} why_options;

static const char help[] =
    "usage: ringlug why RULES CASEFILE SUSPECT [OPTIONS]\n"
    "\n"
    "For each case: the weight of each finding for and against one suspect, in\n"
    "decibans (10 dB: ten times the odds), what the finding shares with it, and\n"
    "the loads that hang on it and have not been looked at. SUSPECT is an\n"
    "element or a load by its name, or a part of its name or label that fits no\n"
    "other.\n"
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

/* ---- JSON ---- */

static json_t *id_of(const rl_model *model, int element)
{
    assert(element >= 0);
    return json_words(rl_model_element(model, (size_t)element)->id);
}

static json_t *ids_of(const rl_model *model, const int *element, size_t count)
{
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++)
        json_add(list, id_of(model, element[i]));
    return list;
}

static json_t *finding(const rl_model *model, const rl_case *c, const rl_weight *weight, const rl_tie *tie)
{
    json_t *object = json_object();
    const rl_line *line = rl_case_line(c, weight->line);
    json_put(object, "finding", json_words(line->text));
    json_put(object, "db", json_number_of(weight->db));
    json_put(object, "sign", json_integer(weight->db > 0 ? 1 : weight->db < 0 ? -1 : 0));
    json_put(object, "occasion", json_integer((json_int_t)line->occasion));
    json_put(object, "link", json_words(rl_link_text(tie->link)));
    json_put(object, "shares", ids_of(model, tie->shared, tie->shared_count));
    return object;
}

static json_t *unseen(const rl_model *model, const rl_ties *ties)
{
    json_t *list = json_array();
    for (size_t i = 0; i < ties->unseen_count; i++)
        json_add(list, id_of(model, ties->unseen[i].load));
    return list;
}

static rl_status fill(json_t *object, const rl_model *model, rl_case *c, size_t suspect)
{
    const rl_why *why;
    const rl_ties *ties;
    rl_status status = rl_case_ties(c, suspect, &ties);
    if (status == RL_OK)
        json_put(object, "unseen", unseen(model, ties));
    if (status == RL_OK)
        status = rl_case_why(c, suspect, &why);
    if (status != RL_OK)
        return status;
    assert(why->count == ties->count);
    json_put(object, "prior", json_number_of(why->prior));
    json_put(object, "posterior", json_number_of(why->posterior));
    json_put(object, "prior_db", json_number_of(why->prior_db));
    json_put(object, "posterior_db", json_number_of(why->posterior_db));
    json_t *list = json_object_get(object, "findings");
    for (size_t i = 0; i < why->count; i++)
        json_add(list, finding(model, c, &why->weight[i], &ties->tie[i]));
    return RL_OK;
}

static rl_status print_json(const screen *sc, const rl_model *model, rl_case *c, size_t suspect)
{
    json_t *object = json_object();
    rl_status status = RL_INPUT;
    json_put(object, "case", json_words(rl_case_name(c)));
    json_put(object, "suspect", id_of(model, (int)suspect));
    json_put(object, "prior", json_null());
    json_put(object, "posterior", json_null());
    json_put(object, "prior_db", json_null());
    json_put(object, "posterior_db", json_null());
    json_put(object, "findings", json_array());
    json_put(object, "unseen", json_array());
    if (rl_case_damaged(c))
        json_put(object, "damaged", json_true());
    else
        status = fill(object, model, c, suspect);
    if (status == RL_CONTRADICTION) {
        rl_status said = json_contradiction(object, c);
        status = said == RL_OK ? status : said;
    }
    json_print(sc->out, object);
    return status;
}

/* ---- the page ---- */

static void print_head(const screen *sc, const rl_case *c)
{
    text line = { 0 };
    text_add(&line, "Case ");
    term_safe(&line, words_case(c));
    if (rl_case_label(c) != NULL) {
        text_add(&line, ": ");
        term_safe(&line, rl_case_label(c));
    }
    if (rl_case_damaged(c))
        text_add(&line, " has errors: nothing is worked out.");
    term_wrap(sc, "", 0, text_get(&line));
    text_free(&line);
}

static rl_status print_page(const screen *sc, const rl_model *model, rl_case *c, size_t suspect)
{
    rl_status status = RL_INPUT;
    print_head(sc, c);
    if (!rl_case_damaged(c))
        status = words_why_page(sc, model, c, suspect);
    if (status == RL_CONTRADICTION) {
        page p = { .screen = sc, .model = model };
        rl_status said = page_contradiction(&p, c);
        status = said == RL_OK ? status : said;
    }
    fputc('\n', sc->out);
    return status;
}

/* ---- cases ---- */

/* What one case needs. */
typedef struct asking {
    session *s;
    const why_options *o;
    const screen *sc;
    size_t suspect;
} asking;

static int why_case(void *user, rl_case *c)
{
    const asking *a = user;
    const rl_model *model = a->s->model;
    rl_status status = a->o->json ? print_json(a->sc, model, c, a->suspect) : print_page(a->sc, model, c, a->suspect);
    return cases_status(a->s, c, status);
}

int cmd_why(int argc, char **argv)
{
    why_options o = { .only = NULL };
    const option_spec option[] = {
        { .name = "--json", .flag = &o.json },
        { .name = "--no-color", .flag = &o.plain },
        { .name = "--case", .word = &o.only },
        { .name = "--own", .flag = &o.own },
        { .name = "--memory", .count = &o.memory, .least = 1, .most = 1 << 20 },
    };
    static const char *const operand[] = { "RULES", "CASEFILE", "SUSPECT" };
    const usage u = { "why", help, option, sizeof option / sizeof *option, 3, 3, operand };
    int operands, status = options_read(&u, argc, argv, &operands);
    if (status >= 0)
        return status;
    session s;
    status = session_open(&s, argv[0], o.memory);
    int suspect = s.model != NULL ? suspect_find("why", s.model, argv[2]) : -1;
    screen sc = term_screen(stdout, o.plain);
    asking a = { &s, &o, &sc, suspect >= 0 ? (size_t)suspect : 0 };
    const cases all = { &s, "why", o.only, why_case, &a };
    s.own = o.own;
    if (suspect >= 0)
        status = status_worse(status, cases_visit(&all, argv + 1, 1));
    else
        status = status_worse(status, TOOL_INPUT);
    session_close(&s);
    return status;
}

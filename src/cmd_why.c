/* cmd_why.c: `ringlug why RULES CASEFILE SUSPECT`: what each finding says for or
 * against one suspect.
 *
 * Invariant: the suspect is known before any case is asked; one bad case stops
 * no other, its status is kept to the end.
 */
#include "commands.h"

#include "json.h"
#include "offer.h"
#include "options.h"
#include "page.h"
#include "report.h"
#include "status.h"
#include "term.h"
#include "words.h"
#include "words_why.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct why_options {
    bool json, plain;
    size_t memory;
    const char *only;           /* the name of the one case asked for, or NULL */
} why_options;

enum { MOST_FITTING = 6 };

static const char help[] =
    "usage: ringlug why RULES CASEFILE SUSPECT [OPTIONS]\n"
    "\n"
    "For each case: the weight of each finding for and against one suspect, in\n"
    "decibans (10 dB: ten times the odds), what the finding shares with it, and\n"
    "the loads that hang on it and have not been looked at. SUSPECT is an\n"
    "element or a load by its name, or a part of its label that fits no other.\n"
    "\n"
    "  --json             one JSON object for each case, each on a line\n"
    "  --case NAME        this case of the file only\n"
    "  --memory MIB       memory for exact answers (1024)\n"
    "  --no-color         no colour, even on a terminal\n"
    "  --help             this text\n"
    "\n"
    "Exit status: 0 done, 1 a file, a case or the suspect is at fault, 2 wrong\n"
    "usage, 3 the machine failed.\n";

/* ---- the suspect ---- */

static bool is_other_name(const rl_model *model, const char *word)
{
    return offer_symptom(model, word) >= 0 || offer_inspection(model, word) >= 0 || offer_area(model, word) >= 0;
}

/* Names that fit, for a message. */
static void say_several(const char *word, const text_list *fitting)
{
    text names = { 0 };
    for (size_t i = 0; i < fitting->count && i < MOST_FITTING; i++)
        text_add(&names, "%s`%s`", i > 0 ? ", " : "", fitting->item[i]);
    if (fitting->count > MOST_FITTING)
        text_add(&names, " and %zu more", fitting->count - MOST_FITTING);
    report_say("ringlug why: %zu suspects fit `%s`: %s", fitting->count, word, text_get(&names));
    text_free(&names);
}

/* The element that is called `word` or alone has it in its label; -1: said why not. */
static int find_suspect(const rl_model *model, const char *word)
{
    int found = rl_model_find(model, word);
    if (found >= 0)
        return found;
    if (is_other_name(model, word)) {
        report_say("ringlug why: `%s` is no element and no load: it cannot be at fault", word);
        return -1;
    }
    offers o;
    text_list fitting = { 0 };
    offer_all(model, &o);
    for (size_t i = 0; i < o.word.count; i++)
        if (word[0] != '\0' && rl_model_find(model, o.word.item[i]) >= 0 && text_within(o.label.item[i], word))
            list_add(&fitting, o.word.item[i]);
    const char *near = text_nearest(word, (const char *const *)o.word.item, o.word.count);
    if (fitting.count == 1)
        found = rl_model_find(model, fitting.item[0]);
    else if (fitting.count > 1)
        say_several(word, &fitting);
    else if (near != NULL)
        report_say("ringlug why: nothing is called `%s`; did you mean `%s`?", word, near);
    else
        report_say("ringlug why: nothing is called `%s`", word);
    list_free(&fitting);
    offer_free(&o);
    return found;
}

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
    term_safe(&line, rl_case_name(c));
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

/* The message for scripts and for those who read only stderr. */
static void say_contradiction(session *s, rl_case *c)
{
    const size_t *lines;
    size_t count;
    if (rl_case_contradiction(c, &lines, &count) != RL_OK || count == 0)
        return;
    text said = { 0 };
    if (count == 1)
        text_add(&said, "case %s: this finding cannot be, whatever is at fault", rl_case_name(c));
    else
        text_add(&said, "case %s: this finding contradicts %zu other%s", rl_case_name(c), count - 1, count == 2 ? "" : "s");
    session_say(s, rl_case_line(c, lines[count - 1]), text_get(&said));
    text_free(&said);
}

static int why_case(session *s, const why_options *o, const screen *sc, rl_case *c, size_t suspect)
{
    rl_status status = o->json ? print_json(sc, s->model, c, suspect) : print_page(sc, s->model, c, suspect);
    if (status == RL_CONTRADICTION)
        say_contradiction(s, c);
    return session_status(status);
}

static int no_such_case(const char *path, const rl_book *book, const char *name)
{
    text_list names = { 0 };
    for (size_t i = 0; i < rl_book_count(book); i++)
        list_add(&names, rl_case_name(rl_book_case(book, i)));
    const char *near = text_nearest(name, (const char *const *)names.item, names.count);
    if (near != NULL)
        report_say("ringlug why: %s has no case `%s`; did you mean `%s`?", path, name, near);
    else
        report_say("ringlug why: %s has no case `%s`", path, name);
    list_free(&names);
    return TOOL_INPUT;
}

static int why_file(session *s, const why_options *o, const screen *sc, const char *path, size_t suspect)
{
    rl_book *book;
    bool any = false;
    int status = session_book(s, path, &book);
    if (book == NULL)
        return status;
    for (size_t i = 0; i < rl_book_count(book); i++) {
        rl_case *c = rl_book_case(book, i);
        if (o->only != NULL && strcmp(o->only, rl_case_name(c)) != 0)
            continue;
        status = status_worse(status, why_case(s, o, sc, c, suspect));
        any = true;
    }
    if (!any && o->only != NULL)
        status = status_worse(status, no_such_case(path, book, o->only));
    rl_book_free(book);
    return status;
}

int cmd_why(int argc, char **argv)
{
    why_options o = { .only = NULL };
    const option_spec option[] = {
        { .name = "--json", .flag = &o.json },
        { .name = "--no-color", .flag = &o.plain },
        { .name = "--case", .word = &o.only },
        { .name = "--memory", .count = &o.memory, .least = 1, .most = 1 << 20 },
    };
    static const char *const operand[] = { "RULES", "CASEFILE", "SUSPECT" };
    const usage u = { "why", help, option, sizeof option / sizeof *option, 3, 3, operand };
    int operands, status = options_read(&u, argc, argv, &operands);
    if (status >= 0)
        return status;
    session s;
    status = session_open(&s, argv[0], o.memory);
    int suspect = s.model != NULL ? find_suspect(s.model, argv[2]) : -1;
    screen sc = term_screen(stdout, o.plain);
    if (suspect >= 0)
        status = status_worse(status, why_file(&s, &o, &sc, argv[1], (size_t)suspect));
    else
        status = status_worse(status, TOOL_INPUT);
    session_close(&s);
    return status;
}

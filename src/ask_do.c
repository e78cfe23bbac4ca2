/* ask_do.c: what a line at the prompt does.
 *
 * Invariant: a line is in the case exactly if it is in the journal; a line
 * that contradicts the case, or cannot be brought to disk, is taken back.
 */
#include "ask.h"

#include "offer.h"
#include "report.h"
#include "status.h"
#include "where.h"
#include "words.h"
#include "words_why.h"

#include <assert.h>
#include <ctype.h>
#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void ask_say(ask *a, const char *format, ...)
{
    va_list list;
    text whole = { 0 }, safe = { 0 };
    va_start(list, format);
    text_add_list(&whole, format, list);
    va_end(list);
    term_safe(&safe, text_get(&whole));
    term_wrap(&a->sc, "", 0, text_get(&safe));
    text_free(&safe);
    text_free(&whole);
}

static void mark_fault(ask *a)
{
    a->status = status_worse(a->status, TOOL_INPUT);
}

void ask_fault(ask *a, const char *format, ...)
{
    va_list list;
    text said = { 0 };
    mark_fault(a);
    va_start(list, format);
    text_add_list(&said, format, list);
    va_end(list);
    report_say("%s:%zu:1: error: %s", a->terminal ? "prompt" : "standard input", a->number, text_get(&said));
    text_free(&said);
}

void ask_failed(ask *a, const char *what)
{
    a->status = TOOL_MACHINE;
    a->done = true;
    if (what != NULL)
        report_say("ringlug: %s: %s", what, strerror(errno));
}

static page page_of(const ask *a, size_t tests)
{
    return (page){ .screen = &a->sc, .model = a->s.model, .tests = tests, .explanations = 5 };
}

void ask_no_answer(ask *a, rl_status status)
{
    if (status == RL_OK)
        return;
    if (status == RL_CONTRADICTION || status == RL_INPUT)
        mark_fault(a);
    else if (status == RL_MEMORY)
        ask_failed(a, NULL);
    if (status != RL_CONTRADICTION)
        a->status = status_worse(a->status, session_status(status));
}

static rl_status refuse(ask *a, rl_status status)
{
    size_t last = rl_case_lines(a->c) - 1;
    if (status == RL_CONTRADICTION) {
        page p = page_of(a, 1);
        rl_status said = page_contradiction(&p, a->c);
        ask_say(a, "The last line is not kept; the case goes on without it.");
        ask_fault(a, "this line contradicts what the case holds: %s", rl_case_line(a->c, last)->text);
        status = said == RL_OK ? status : said;
    }
    rl_status back = rl_case_withdraw(a->c, last);
    return back == RL_OK ? status : back;
}

static void answer_briefly(ask *a, bool added)
{
    page p = page_of(a, 1);
    size_t lines = rl_case_lines(a->c);
    rl_line_sort sort = added ? rl_case_line(a->c, lines - 1)->sort : RL_LINE_FOUND;
    if (sort == RL_LINE_FOUND || sort == RL_LINE_EXPECT) {
        ask_say(a, "Noted.");
        return;
    }
    if (!ask_proof(a))
        ask_no_answer(a, page_brief(&p, a->c));
}

bool ask_record(ask *a, char sort, const char *line)
{
    text record = { 0 };
    text_add(&record, "%c%s", sort, line);
    bool good = journal_add(&a->j, text_get(&record));
    text_free(&record);
    if (!good) {
        text what = { 0 };
        text_add(&what, "cannot write the journal %s", a->j.path);
        ask_failed(a, text_get(&what));
        text_free(&what);
    }
    return good;
}

rl_status ask_accept(ask *a, const char *line, size_t length, const char *path, size_t number, bool quiet)
{
    size_t before = rl_case_lines(a->c);
    const rl_answer *answer;
    rl_status status = rl_case_add(a->c, line, length, path, number);
    if (status != RL_OK) {
        ask_no_answer(a, status);
        return status;
    }
    bool added = rl_case_lines(a->c) > before;
    status = rl_case_answer(a->c, &answer);
    if (added && ((status == RL_CONTRADICTION && !a->contradictory) || status == RL_MEMORY)) {
        status = refuse(a, status);
        if (status != RL_CONTRADICTION)
            ask_no_answer(a, status);
        return status;
    }
    a->contradictory = status == RL_CONTRADICTION;
    if (!ask_record(a, '+', line)) {
        if (added)
            rl_case_withdraw(a->c, before);
        return RL_REFUSED;
    }
    if (added)
        casefile_added(&a->file);
    a->dirty = true;
    if (!quiet)
        answer_briefly(a, added);
    return RL_OK;
}

rl_status ask_withdraw(ask *a, size_t index)
{
    assert(index < rl_case_lines(a->c));
    const rl_answer *answer;
    text record = { 0 };
    text_add(&record, "%zu %s", index + 1, rl_case_line(a->c, index)->text);
    rl_status status = rl_case_withdraw(a->c, index);
    if (status == RL_OK) {
        casefile_withdrawn(&a->file, index);
        a->dirty = true;
        ask_record(a, '-', text_get(&record));
        a->contradictory = rl_case_answer(a->c, &answer) == RL_CONTRADICTION;
    }
    text_free(&record);
    return status;
}

/* ---- the commands; `rest` is what stands behind the word ---- */

/* What is typed, and what it does. */
typedef struct help_row {
    const char *typed, *does;
} help_row;

static void help_rows(const screen *sc, const help_row *row, size_t count, size_t indent)
{
    for (size_t i = 0; i < count; i++) {
        text first = { 0 };
        text_add(&first, "  %-*s", (int)indent - 2, row[i].typed);
        term_wrap(sc, text_get(&first), indent, row[i].does);
        text_free(&first);
    }
}

static void do_help(ask *a, const char *rest)
{
    static const help_row seen[] = {
        { "LOAD BEHAVIOUR", "for example: tail_left dim" },
        { "others work", "all the others show nothing odd" },
        { "drop LOAD 0.71 V", "voltage drop of its return, load on" },
        { "INSPECTION ELEMENT OUTCOME", "for example: look rear corroded" },
    };
    static const help_row done[] = {
        { "show", "the whole ranking with the next tests" },
        { "next [2]", "the tests to do next; 2: two tests ahead" },
        { "how [N]", "how test N of them is done, step by step" },
        { "why [X]", "what speaks for and against a suspect" },
        { "repair [X]", "how to mend it, and what will prove it; then: repair [X] done" },
        { "close [X S]", "a proven case goes to the case log; X was found in state S" },
        { "where X", "where an element or area is and how to get at it" },
        { "list [WORD]", "what can be said: names that hold WORD, with their labels" },
        { "lines", "the lines of the case, numbered" },
        { "undo [N]", "take back the last line, or line N" },
        { "save [FILE]", "write the case to a file" },
        { "resume", "go on with a case that was left unfinished" },
        { "leave", "end; nothing is lost" },
    };
    enum { SEEN_INDENT = 33, DONE_INDENT = 17 };
    (void)rest;
    ask_say(a, "Type what is seen and measured, one line at a time, as in a case file:");
    help_rows(&a->sc, seen, sizeof seen / sizeof *seen, SEEN_INDENT);
    ask_say(a, "Commands:");
    help_rows(&a->sc, done, sizeof done / sizeof *done, DONE_INDENT);
    ask_say(a, "On a terminal the tabulator key completes names, words and labels.");
}

static void do_show(ask *a, const char *rest)
{
    (void)rest;
    page p = page_of(a, 5);
    ask_no_answer(a, page_case(&p, a->c));
}

static bool read_number(const char *words, unsigned long *number)
{
    char *end = NULL;
    *number = isdigit((unsigned char)words[0]) ? strtoul(words, &end, 10) : 0;
    return end != NULL && *end == '\0';
}

static void do_how(ask *a, const char *rest)
{
    unsigned long number = 1;
    bool found = false;
    page p = page_of(a, 5);
    if (rest[0] != '\0' && !read_number(rest, &number)) {
        ask_fault(a, "how is what done? Give the number that a test has in `next`");
        return;
    }
    rl_status status = page_how(&p, a->c, number, &found);
    if (status != RL_OK)
        ask_no_answer(a, status);
    else if (!found)
        ask_fault(a, "there is no test %lu: `next` shows their numbers", number);
}

static void do_next(ask *a, const char *rest)
{
    unsigned long ahead = 1;
    page p = page_of(a, 5);
    if (rest[0] != '\0' && (!read_number(rest, &ahead) || ahead < 1 || ahead > 2)) {
        ask_fault(a, "`next` looks one test ahead, `next 2` two");
        return;
    }
    p.lookahead = ahead;
    ask_no_answer(a, page_next(&p, a->c));
}

static void do_lines(ask *a, const char *rest)
{
    (void)rest;
    for (size_t i = 0; i < rl_case_lines(a->c); i++) {
        const rl_line *line = rl_case_line(a->c, i);
        text safe = { 0 }, first = { 0 };
        text_add(&first, "%3zu  ", i + 1);
        words_line(&safe, line, false);
        text_add(&safe, line->replaced ? "  (replaced by a later line)" : "");
        term_wrap(&a->sc, text_get(&first), term_cells(text_get(&first)), text_get(&safe));
        text_free(&safe);
        text_free(&first);
    }
    if (rl_case_lines(a->c) == 0)
        ask_say(a, "The case has no lines yet.");
}

/* A load's levels, a symptom's and an inspection's outcomes: what may follow a name. */
static void list_after(ask *a, const char *name)
{
    text before = { 0 }, words = { 0 };
    offers o;
    text_add(&before, "%s ", name);
    offer_for(a->s.model, text_get(&before), &o);
    for (size_t i = 0; i < o.word.count; i++)
        text_add(&words, "%s%s", i > 0 ? ", " : "", o.word.item[i]);
    if (o.word.count > 0)
        ask_say(a, "After %s: %s", name, text_get(&words));
    offer_free(&o);
    text_free(&before);
    text_free(&words);
}

static bool is_listed(const offers *o, size_t i, const char *part)
{
    return text_within(o->word.item[i], part) || text_within(o->label.item[i], part);
}

/* Columns of the names: on a narrow screen no more than the longest needs. */
static size_t name_column(const offers *o, const char *part, size_t width)
{
    enum { USUAL = 22, NARROW = 60 };
    size_t longest = 1;
    for (size_t i = 0; i < o->word.count && width < NARROW; i++)
        if (is_listed(o, i, part) && strlen(o->word.item[i]) > longest)
            longest = strlen(o->word.item[i]);
    return width < NARROW && longest < USUAL ? longest : USUAL;
}

static void do_list(ask *a, const char *rest)
{
    offers o;
    size_t shown = 0;
    const char *only = "";
    offer_all(a->s.model, &o);
    size_t column = name_column(&o, rest, a->sc.width);
    for (size_t i = 0; i < o.word.count; i++) {
        if (!is_listed(&o, i, rest))
            continue;
        text row = { 0 };
        text_add(&row, "  ");
        term_fit(&a->sc, &row, o.word.item[i], column);
        text_add(&row, "  ");
        term_fit(&a->sc, &row, o.label.item[i], a->sc.width > column + 10 ? a->sc.width - column - 6 : 4);
        text_trim(&row);
        fprintf(a->sc.out, "%s\n", text_get(&row));
        text_free(&row);
        shown++;
        only = strcmp(o.word.item[i], rest) == 0 || shown == 1 ? o.word.item[i] : only;
    }
    if (shown == 0)
        ask_fault(a, "nothing is called `%s`", rest);
    else if (shown == 1 || strcmp(only, rest) == 0)
        list_after(a, only);
    else if (rest[0] == '\0')
        ask_say(a, "Lines begin with a load, symptom or inspection, or with: backfeed, case, continuity, drop, expect, "
                   "found, occasion, opened, others, pull, resistance, supply. `list NAME` says what may follow a name.");
    offer_free(&o);
}

static void do_undo(ask *a, const char *rest)
{
    size_t count = rl_case_lines(a->c), number = count;
    char *end = NULL;
    if (rest[0] != '\0') {
        number = isdigit((unsigned char)rest[0]) ? (size_t)strtoul(rest, &end, 10) : 0;
        if (end == NULL || *end != '\0')
            number = 0;
    }
    if (number == 0 || number > count) {
        ask_fault(a, count == 0 ? "there is no line to take back" : "there is no such line: `lines` shows their numbers");
        return;
    }
    text was = { 0 };
    words_line(&was, rl_case_line(a->c, number - 1), false);
    rl_status status = ask_withdraw(a, number - 1);
    if (status == RL_USAGE)
        ask_fault(a, "this occasion still has lines: take those back first");
    else if (status != RL_OK)
        ask_no_answer(a, status);
    else {
        page p = page_of(a, 1);
        ask_say(a, "Taken back: %s", text_get(&was));
        ask_no_answer(a, page_brief(&p, a->c));
    }
    text_free(&was);
}

/* The one name that has `part` in it or in its label, NULL if none or several have; those are listed. */
static char *name_by_part(ask *a, const char *part)
{
    offers o;
    char *found = NULL;
    size_t count = 0;
    offer_all(a->s.model, &o);
    for (size_t i = 0; i < o.word.count; i++)
        if ((text_within(o.word.item[i], part) || text_within(o.label.item[i], part)) && count++ == 0)
            found = tool_copy(o.word.item[i], strlen(o.word.item[i]));
    if (count != 1) {
        const char *near = text_nearest(part, (const char *const *)o.word.item, o.word.count);
        if (count > 1)
            ask_fault(a, "%zu names fit `%s`: `list %s` shows them", count, part, part);
        else if (near != NULL)
            ask_fault(a, "nothing is called `%s`; did you mean `%s`?", part, near);
        else
            ask_fault(a, "nothing is called `%s`", part);
        free(found);
        found = NULL;
    }
    offer_free(&o);
    return found;
}

/* Shows a name; false if the vehicle has none such. */
static bool where_name(ask *a, const char *name)
{
    int element = rl_model_find(a->s.model, name), area = offer_area(a->s.model, name);
    int sign = offer_symptom(a->s.model, name), look = offer_inspection(a->s.model, name);
    if (element >= 0)
        where_element(&a->sc, a->s.model, (size_t)element);
    if (area >= 0)
        where_area(&a->sc, a->s.model, (size_t)area);
    if (sign >= 0)
        ask_say(a, "%s: a symptom, seen as it is", rl_model_symptom(a->s.model, (size_t)sign)->label);
    if (look >= 0)
        ask_say(a, "%s: an inspection", rl_model_inspection(a->s.model, (size_t)look)->label);
    return element >= 0 || area >= 0 || sign >= 0 || look >= 0;
}

static bool is_name(const ask *a, const char *word)
{
    return rl_model_find(a->s.model, word) >= 0 || offer_symptom(a->s.model, word) >= 0
           || offer_inspection(a->s.model, word) >= 0 || offer_area(a->s.model, word) >= 0;
}

static void do_where(ask *a, const char *rest)
{
    if (rest[0] == '\0') {
        ask_fault(a, "where is what? Give a name: where NAME");
        return;
    }
    if (where_name(a, rest))
        return;
    char *name = name_by_part(a, rest);
    if (name != NULL)
        where_name(a, name);
    free(name);
}

int ask_element(ask *a, const char *words)
{
    int element = rl_model_find(a->s.model, words);
    char *name = element >= 0 ? NULL : is_name(a, words) ? tool_copy(words, strlen(words)) : name_by_part(a, words);
    if (name != NULL)
        element = rl_model_find(a->s.model, name);
    if (element < 0 && name != NULL)
        ask_fault(a, "`%s` is no element and no load: it cannot be at fault", name);
    free(name);
    return element;
}

static void do_why(ask *a, const char *rest)
{
    const rl_answer *answer;
    page p = page_of(a, 1);
    rl_status status = rl_case_answer(a->c, &answer);
    if (status == RL_CONTRADICTION)
        page_contradiction(&p, a->c);
    if (status != RL_OK) {
        ask_no_answer(a, status);
        return;
    }
    if (rl_model_vehicle(a->s.model)->elements == 0)
        return;
    int element = rest[0] == '\0' ? (int)words_leader(a->s.model, answer) : ask_element(a, rest);
    if (element >= 0)
        ask_no_answer(a, words_why_page(&a->sc, a->s.model, a->c, (size_t)element));
}

static void do_save(ask *a, const char *rest)
{
    ask_save(a, rest[0] != '\0' ? rest : NULL);
}

static void do_resume(ask *a, const char *rest)
{
    (void)rest;
    ask_resume(a);
}

static void do_leave(ask *a, const char *rest)
{
    (void)rest;
    a->done = true;
}

typedef struct command {
    const char *word;
    void (*run)(ask *a, const char *rest);
    bool takes_more;
} command;
static const command table[] = {
    { "close", ask_close, true },   { "repair", ask_repair, true },
    { "help", do_help, true },   { "how", do_how, true },      { "leave", do_leave, false }, { "lines", do_lines, false },
    { "list", do_list, true },    { "next", do_next, true },
    { "resume", do_resume, false }, { "save", do_save, true },
    { "show", do_show, false },   { "undo", do_undo, true },    { "where", do_where, true },
    { "why", do_why, true },
};

static bool is_word(const char *word)
{
    size_t count;
    if (strcmp(word, "repair") == 0)
        return false;   /* a word of the rules, and no line of evidence begins with it */
    const char *const *words = rl_language_words(&count);
    for (size_t i = 0; i < count; i++)
        if (strcmp(words[i], word) == 0)
            return true;
    return false;
}

/* A declared name or a word of the language begins evidence, whatever commands there are. */
static bool begins_evidence(const ask *a, const char *word)
{
    return rl_model_find(a->s.model, word) >= 0 || offer_symptom(a->s.model, word) >= 0
           || offer_inspection(a->s.model, word) >= 0 || is_word(word);
}

/* A name alone says nothing yet. */
static void hint_lone(ask *a, const char *name)
{
    int element = rl_model_find(a->s.model, name);
    rl_sort sort = element >= 0 ? rl_model_element(a->s.model, (size_t)element)->sort : RL_LOAD;
    if (sort != RL_LOAD)
        ask_say(a, "(%s is a %s: `where %s` tells where, `why %s` what speaks for and against it.)", name,
                rl_sort_text(sort), name, name);
    else if (element >= 0 || offer_symptom(a->s.model, name) >= 0)
        list_after(a, name);
}

static void evidence(ask *a, const char *line, size_t length, const char *word)
{
    if (strcmp(word, "case") == 0 && a->file.loaded) {
        ask_fault(a, "this case has its name from its file");
        return;
    }
    rl_status status = ask_accept(a, line, length, a->terminal ? "prompt" : "standard input", a->number, false);
    if (status != RL_INPUT)
        return;
    ask_hint_label(a, line, begins_evidence(a, word));
    if (strcmp(line, word) == 0)
        hint_lone(a, word);
}

void ask_line(ask *a, const char *line, size_t length)
{
    assert(!a->done);
    while (length > 0 && isspace((unsigned char)line[0])) {
        line++;
        length--;
    }
    while (length > 0 && isspace((unsigned char)line[length - 1]))
        length--;
    if (length == 0 || line[0] == '#')
        return;
    char *copy = tool_copy(line, length);
    size_t n = strcspn(copy, " \t");
    char *word = tool_copy(copy, n);
    const char *rest = copy + n + strspn(copy + n, " \t");
    const command *found = NULL;
    for (size_t i = 0; i < sizeof table / sizeof *table && !begins_evidence(a, word); i++)
        if (strcmp(table[i].word, word) == 0 && strlen(copy) == length)
            found = &table[i];
    if (found != NULL && rest[0] != '\0' && !found->takes_more)
        ask_fault(a, "nothing may follow the command `%s`", word);
    else if (found != NULL)
        found->run(a, rest);
    else if (begins_evidence(a, word) || !ask_no_command(a, word, rest[0] == '\0'))
        evidence(a, copy, length, word);
    free(word);
    free(copy);
}

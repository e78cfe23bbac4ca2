/* test_docs.c: what the documents say is so.
 *
 * docs/language.md: every `gnd` block is read without a message, every `case`
 * block too, is answered, and what it expects holds; its lists of words are
 * those of the lexer.  docs/messages.md: every message with its number,
 * severity and text, and no other.  README.md: what a `console` block shows is
 * what the tool prints.
 * The first `gnd` block is the file marsh.gnd; one without a `vehicle` is read
 * behind an include of it, and cases are cases of it.
 */
#ifndef _XOPEN_SOURCE
#define _XOPEN_SOURCE 700
#endif
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "cli/run.h"
#include "engine/ringlug.h"
#include "grammar/parse.h"
#include "lang/show.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MOST_BLOCKS = 200, LONGEST_NAME = 16 };

typedef struct block {
    char language[LONGEST_NAME];
    char *text;
    size_t line;            /* of the document, of the text's first line */
} block;

typedef struct blocks {
    block list[MOST_BLOCKS];
    size_t count;
} blocks;

/* ---- the fenced blocks of a document ---- */

static char *document(const char *name)
{
    size_t length;
    char path[256];
    snprintf(path, sizeof path, TEST_ROOT "/%s", name);
    char *text = show_file(path, &length);
    if (text == NULL)
        fail_msg("there is no %s", name);
    return text;
}

static void keep(blocks *all, const char *language, size_t length, const char *begin, const char *end, size_t line)
{
    assert_true(all->count < MOST_BLOCKS && length < LONGEST_NAME);
    block *b = &all->list[all->count++];
    memcpy(b->language, language, length);
    b->language[length] = '\0';
    b->text = strndup(begin, (size_t)(end - begin));
    b->line = line;
    assert_non_null(b->text);
}

static blocks *read_blocks(const char *name)
{
    blocks *all = calloc(1, sizeof *all);
    char *text = document(name);
    const char *begin = NULL, *language = NULL;
    size_t line = 1, first = 0;
    assert_non_null(all);
    for (const char *s = text; *s != '\0'; s += strcspn(s, "\n"), s += *s == '\n', line++) {
        if (strncmp(s, "```", 3) != 0)
            continue;
        if (begin == NULL) {
            language = s + 3;
            begin = s + strcspn(s, "\n") + 1;
            first = line + 1;
        } else {
            keep(all, language, strcspn(language, "\n"), begin, s, first);
            begin = NULL;
        }
    }
    if (begin != NULL)
        fail_msg("%s:%zu: this block has no end", name, first);
    free(text);
    return all;
}

static void drop_blocks(blocks *all)
{
    for (size_t i = 0; i < all->count; i++)
        free(all->list[i].text);
    free(all);
}

static const block *first_of(const blocks *all, const char *language)
{
    for (size_t i = 0; i < all->count; i++)
        if (strcmp(all->list[i].language, language) == 0)
            return &all->list[i];
    fail_msg("there is no block `%s`", language);
    return NULL;
}

/* ---- rules and cases of the manual ---- */

/* The files that an example sees: marsh.gnd, itself, and the shipped rules. */
typedef struct desk {
    const char *marsh, *example;
    shown heard;
    rl_context *context;
} desk;

static rl_status load(void *user, const char *path, char **bytes, size_t *length)
{
    const desk *d = user;
    const char *slash = strrchr(path, '/'), *name = slash == NULL ? path : slash + 1;
    const char *held = strcmp(name, "marsh.gnd") == 0 ? d->marsh : strncmp(name, "example", 7) == 0 ? d->example : NULL;
    *bytes = held == NULL ? show_file(path, length) : strdup(held);
    if (*bytes == NULL)
        return RL_MISSING;
    if (held != NULL)
        *length = strlen(held);
    return RL_OK;
}

static void release(void *user, char *bytes)
{
    (void)user;
    free(bytes);
}

static void hear(void *user, const rl_report *report)
{
    show_report(&((desk *)user)->heard, report);
}

static void open_desk(desk *d, const char *marsh)
{
    *d = (desk){.marsh = marsh};
    show_put(&d->heard, "", 0);
    rl_settings settings = {
        .sink = {.say = hear, .user = d},
        .loader = {.read = load, .release = release, .user = d},
        .rules_folder = TEST_ROOT "/rules",
    };
    assert_int_equal(rl_context_new(&settings, &d->context), RL_OK);
}

static void close_desk(desk *d)
{
    rl_context_free(d->context);
    free(d->heard.text);
}

static bool has_statement(const char *text, const char *word)
{
    size_t length = strlen(word);
    for (const char *s = text; s != NULL; s = strchr(s, '\n'), s = s == NULL ? NULL : s + 1)
        if (strncmp(s, word, length) == 0 && s[length] == ' ')
            return true;
    return false;
}

static void must_be_silent(const desk *d, const block *b)
{
    if (d->heard.length > 0)
        fail_msg("docs/language.md, block at line %zu:\n%s", b->line, d->heard.text);
}

static rl_model *read_rules(desk *d, const block *b)
{
    static const char include[] = "include \"marsh.gnd\"\n";
    rl_model *model = NULL;
    char *text = malloc(sizeof include + strlen(b->text));
    assert_non_null(text);
    strcpy(text, has_statement(b->text, "vehicle") && has_statement(b->text, "class") ? "" : include);
    if (has_statement(b->text, "include"))
        text[0] = '\0';
    strcat(text, b->text);
    d->example = text;
    rl_status status = rl_model_read(d->context, "example.gnd", &model);
    must_be_silent(d, b);
    assert_int_equal(status, RL_OK);
    free(text);
    return model;
}

static void check_case(rl_case *c, const block *b)
{
    const rl_answer *answer;
    const rl_expectation *expectation;
    size_t count;
    if (rl_case_damaged(c) || rl_case_answer(c, &answer) != RL_OK)
        fail_msg("docs/language.md, block at line %zu: case %s has no answer", b->line, rl_case_name(c));
    assert_int_equal(rl_case_expectations(c, &expectation, &count), RL_OK);
    for (size_t i = 0; i < count; i++)
        if (!expectation[i].held)
            fail_msg("docs/language.md, case %s: `%s` does not hold: %g", rl_case_name(c),
                     rl_case_line(c, expectation[i].line)->text, expectation[i].p);
}

static void check_book(desk *d, const rl_model *marsh, const block *b)
{
    rl_book *book = NULL;
    d->example = b->text;
    rl_status status = rl_book_read(d->context, marsh, "example.case", &book);
    must_be_silent(d, b);
    assert_int_equal(status, RL_OK);
    assert_true(rl_book_count(book) > 0);
    for (size_t i = 0; i < rl_book_count(book); i++)
        check_case(rl_book_case(book, i), b);
    rl_book_free(book);
}

static void examples_of_rules(void **state)
{
    blocks *all = read_blocks("docs/language.md");
    size_t seen = 0;
    (void)state;
    for (size_t i = 0; i < all->count; i++) {
        desk d;
        if (strcmp(all->list[i].language, "gnd") != 0)
            continue;
        open_desk(&d, first_of(all, "gnd")->text);
        rl_model_free(read_rules(&d, &all->list[i]));
        close_desk(&d);
        seen++;
    }
    assert_true(seen > 5);
    drop_blocks(all);
}

static void examples_of_cases(void **state)
{
    blocks *all = read_blocks("docs/language.md");
    size_t seen = 0;
    desk d;
    (void)state;
    open_desk(&d, first_of(all, "gnd")->text);
    rl_model *marsh = read_rules(&d, first_of(all, "gnd"));
    for (size_t i = 0; i < all->count; i++)
        if (strcmp(all->list[i].language, "case") == 0) {
            check_book(&d, marsh, &all->list[i]);
            seen++;
        }
    assert_true(seen > 2);
    rl_model_free(marsh);
    close_desk(&d);
    drop_blocks(all);
}

/* ---- words ---- */

/* Whether the words of the block are, in order, the language's that are free or not. */
static void check_words(const block *b, bool is_free)
{
    size_t count, next = 0;
    const char *const *words = rl_language_words(&count);
    for (char *word = strtok(b->text, " \n"); word != NULL; word = strtok(NULL, " \n"), next++) {
        while (next < count && rl_is_word(words[next]) == is_free)
            next++;
        if (next == count)
            fail_msg("docs/language.md lists `%s`, the lexer has no such word there", word);
        assert_string_equal(word, words[next]);
    }
    while (next < count && rl_is_word(words[next]) == is_free)
        next++;
    if (next < count)
        fail_msg("docs/language.md does not list `%s`", words[next]);
}

static void the_words(void **state)
{
    blocks *all = read_blocks("docs/language.md");
    (void)state;
    check_words(first_of(all, "words"), false);
    check_words(first_of(all, "words-free"), true);
    drop_blocks(all);
}

/* ---- messages ---- */

typedef struct message { int number; rl_severity severity; const char *text; } message;
#define RL_MESSAGE(id, number, severity, text) {number, severity, text},
static const message messages[] = {
#include "engine/messages.def"
};
#undef RL_MESSAGE
enum { MESSAGES = sizeof messages / sizeof *messages };

static void every_message_is_listed(void **state)
{
    static const char *const severity[] = {"note", "warning", "error"};
    char *text = document("docs/messages.md");
    size_t headings = 0;
    (void)state;
    for (size_t i = 0; i < MESSAGES; i++) {
        char entry[1024];
        const message *m = &messages[i];
        snprintf(entry, sizeof entry, "\n### %d (%s)\n\n    %s\n", m->number, severity[m->severity], m->text);
        if (strstr(text, entry) == NULL)
            fail_msg("docs/messages.md does not have: %s(make messages writes it anew)", entry);
    }
    for (const char *s = text; (s = strstr(s, "\n### ")) != NULL; s++)
        headings++;
    assert_int_equal(headings, MESSAGES);
    free(text);
}

static void no_number_stands_twice(void **state)
{
    (void)state;
    for (size_t i = 0; i < MESSAGES; i++)
        for (size_t j = 0; j < i; j++)
            assert_int_not_equal(messages[i].number, messages[j].number);
}

/* ---- the README's session ---- */

static void cut_end(char *text)
{
    for (size_t length = strlen(text); length > 0 && text[length - 1] == '\n'; length--)
        text[length - 1] = '\0';
}

/* What the command prints: a run of the tool, or `cat` of one file. */
static char *output_of(char *command)
{
    char *word[8] = {NULL};
    size_t count = 0;
    for (char *w = strtok(command, " "); w != NULL && count < 7; w = strtok(NULL, " "))
        word[count++] = w;
    if (count == 2 && strcmp(word[0], "cat") == 0)
        return document(word[1]);
    if (count < 2 || strcmp(word[0], "build/ringlug") != 0)
        fail_msg("README.md shows what `%s` prints, which this test cannot run", word[0]);
    run r = run_tool("", word[1], word[2], word[3], word[4], word[5], word[6], NULL);
    assert_int_equal(r.status, 0);
    assert_string_equal(r.err, "");
    char *out = strdup(r.out);
    run_free(&r);
    return out;
}

static void check_command(char *command, char *shown_text)
{
    char *out = output_of(command);
    assert_non_null(out);
    cut_end(out);
    cut_end(shown_text);
    assert_string_equal(shown_text, out);
    free(out);
}

static size_t check_session(char *text)
{
    size_t commands = 0;
    for (char *s = text; s != NULL && *s != '\0'; commands++) {
        assert_int_equal(strncmp(s, "$ ", 2), 0);
        char *command = s + 2, *answer = command + strcspn(command, "\n");
        if (*answer == '\n')
            *answer++ = '\0';
        char *next = strncmp(answer, "$ ", 2) == 0 ? answer - 1 : strstr(answer, "\n$ ");
        if (next != NULL)
            *next++ = '\0';
        check_command(command, next == answer ? next + strlen(next) : answer);
        s = next;
    }
    return commands;
}

static void the_session_of_the_readme(void **state)
{
    blocks *all = read_blocks("README.md");
    size_t commands = 0;
    (void)state;
    for (size_t i = 0; i < all->count; i++)
        if (strcmp(all->list[i].language, "console") == 0)
            commands += check_session(all->list[i].text);
    assert_true(commands > 0);
    drop_blocks(all);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(examples_of_rules),       cmocka_unit_test(examples_of_cases),
        cmocka_unit_test(the_words),               cmocka_unit_test(every_message_is_listed),
        cmocka_unit_test(no_number_stands_twice),  cmocka_unit_test(the_session_of_the_readme),
    };
    if (chdir(TEST_ROOT) != 0 || setenv("TEST_PATIENCE", "120", 0) != 0)
        return 1;
    return cmocka_run_group_tests(tests, run_setup, run_teardown) != 0;
}

/* test_parse.c: what the tree of a text is, what is said of a bad one, and that
 * no text, however large or torn, and no lack of memory does harm. */
#include "parse.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct bench {
    rl_arena arena;
    rl_diag diag;
    rl_sink sink;
    size_t left;              /* pieces that the allocator still gives */
    char said[4096];          /* "LINE:COLUMN number text" of each message, a line each */
    size_t count;
} bench;

static void *take(void *user, size_t size)
{
    bench *b = user;
    return b->left > 0 && b->left-- > 0 ? malloc(size) : NULL;
}

static void give(void *user, void *piece)
{
    (void)user;
    free(piece);
}

static void hear(void *user, const rl_report *report)
{
    bench *b = user;
    size_t length = strlen(b->said);
    b->count++;
    snprintf(b->said + length, sizeof b->said - length, "%zu:%zu %d %s\n", report->line, report->column,
             report->number, report->text);
}

static int set_up(void **state)
{
    bench *b = calloc(1, sizeof *b);
    const rl_allocator allocator = {take, give, b};
    b->left = SIZE_MAX;
    rl_arena_init(&b->arena, &allocator, 0);
    b->sink = (rl_sink){hear, b};
    rl_diag_init(&b->diag, &b->arena, &b->sink, 0);
    *state = b;
    return 0;
}

static int tear_down(void **state)
{
    bench *b = *state;
    rl_arena_free(&b->arena);
    free(b);
    return 0;
}

static const ast_file *parse_bytes(bench *b, const char *text, size_t length)
{
    b->said[0] = '\0';
    b->count = 0;
    return rl_parse(&b->arena, &b->diag, rl_diag_source(&b->diag, "test", text, length));
}

static const ast_file *parse(bench *b, const char *text)
{
    return parse_bytes(b, text, strlen(text));
}

/* The one statement of a text that must be good. */
static const ast_stmt *one(bench *b, const char *text)
{
    const ast_file *file = parse(b, text);
    assert_string_equal(b->said, "");
    assert_int_equal(file->count, 1);
    assert_false(file->damaged);
    return file->first;
}

static void must_say(bench *b, const char *text, const char *said)
{
    const ast_file *file = parse(b, text);
    assert_string_equal(b->said, said);
    assert_true(file->damaged);
}

/* ---- trees ---- */

static void a_load(void **state)
{
    const ast_stmt *s = one(*state, "load pump \"fuel \\\"lift\\\" pump\"  kind motor\n  draws 3.1 A returns through rear via a, b"
                                    " by 1 mm2 60 cm or frame fed by f9 via plug do not jumper, bypass");
    assert_int_equal(s->sort, AST_LOAD);
    assert_string_equal(s->name->text, "pump");
    assert_string_equal(s->label, "fuel \"lift\" pump");
    const ast_clause *c = s->clauses;
    assert_int_equal(c->sort, AST_C_KIND);
    assert_string_equal(c->words->text, "motor");
    c = c->next;
    assert_int_equal(c->sort, AST_C_DRAWS);
    assert_int_equal(c->number->dimension, AST_AMPERE);
    assert_true(c->number->value == 3.1);
    assert_int_equal(c->span.line, 2);
    assert_int_equal(c->span.column, 3);
    c = c->next;
    assert_int_equal(c->sort, AST_C_RETURNS);
    assert_string_equal(c->path->parent->text, "rear");
    assert_string_equal(c->path->via->next->text, "b");
    assert_true(c->path->area->value == 1 && c->path->length->value == 0.6);
    assert_string_equal(c->path->length->text, "60 cm");
    assert_string_equal(c->path->next->parent->text, "frame");
    assert_null(c->path->next->area);
    assert_null(c->path->next->next);
    c = c->next;
    assert_int_equal(c->sort, AST_C_FED);
    assert_string_equal(c->path->via->text, "plug");
    c = c->next;
    assert_int_equal(c->sort, AST_C_DONOT);
    assert_string_equal(c->words->next->text, "bypass");
    assert_null(c->next);
}

static void a_kind(void **state)
{
    const ast_stmt *s = one(*state, "kind k behaves ok, open, m when return open m 0.3 open 20% short of 2 V m 1 otherwise m 1%");
    const ast_clause *c = s->clauses->next;
    assert_int_equal(c->sort, AST_C_WHEN);
    assert_int_equal(c->side, AST_RETURN_SIDE);
    assert_int_equal(c->state, AST_OPEN);
    assert_string_equal(c->cells->name->text, "m");
    assert_int_equal(c->cells->p->dimension, AST_PLAIN);
    assert_int_equal(c->cells->next->p->dimension, AST_PERCENT);
    assert_true(c->cells->next->p->value == 0.2);
    assert_int_equal(c->next->sort, AST_C_SHORT);
    assert_true(c->next->number->value == 2);
    assert_int_equal(c->next->next->sort, AST_C_OTHERWISE);
}

static void lines_of_evidence(void **state)
{
    const ast_stmt *s = one(*state, "tail_left not dim or flickers sure 80% with bypass at rear and repaired a.wire and swap");
    assert_int_equal(s->sort, AST_SEEN);
    assert_true(s->negated);
    assert_string_equal(s->outcomes->next->text, "flickers");
    assert_int_equal(s->clauses->sort, AST_C_SURE);
    const ast_condition *c = s->clauses->next->conditions;
    assert_int_equal(c->sort, AST_BYPASS_AT);
    assert_string_equal(c->next->element->text, "a.wire");
    assert_int_equal(c->next->next->sort, AST_SWAP);
    s = one(*state, "look a.wire loose");
    assert_string_equal(s->name2->text, "a.wire");
    assert_string_equal(s->outcomes->text, "loose");
    s = one(*state, "drop l from a to b -0.02 V at 300 mA also m, h");
    assert_int_equal(s->clauses->sort, AST_C_FROM);
    assert_int_equal(s->clauses->next->sort, AST_C_TO);
    assert_true(s->number->value == -0.02);
    assert_true(s->clauses->next->next->number->value == 0.3);
    assert_string_equal(s->clauses->next->next->next->words->next->text, "h");
    s = one(*state, "resistance l open");
    assert_null(s->number);
    assert_string_equal(s->outcomes->text, "open");
    s = one(*state, "continuity silent to b silent");
    assert_string_equal(s->name->text, "silent");
    assert_string_equal(s->outcomes->text, "silent");
    s = one(*state, "backfeed a to b not present sure 0.9");
    assert_int_equal(s->clauses->sort, AST_C_TO);
    assert_true(s->negated);
    s = one(*state, "found only a.wire open");
    assert_true(s->only);
    assert_int_equal(s->state, AST_OPEN);
    assert_null(one(*state, "found nothing")->name);
    assert_int_equal(one(*state, "expect a below 2%")->clauses->sort, AST_C_BELOW);
    assert_null(one(*state, "expect a leads")->clauses);
}

static void units(void **state)
{
    static const struct { const char *text; ast_dimension dimension; double value; const char *canonical; } rows[] = {
        {"12V", AST_VOLT, 12, "12 V"}, {"50 mV", AST_VOLT, 0.05, "50 mV"}, {"300mA", AST_AMPERE, 0.3, "300 mA"},
        {"21 W", AST_WATT, 21, "21 W"}, {"0.4 mohm", AST_OHM, 0.0004, "0.4 mohm"}, {"2k\xce\xa9", AST_OHM, 2000, "2 k\xce\xa9"},
        {"3\xe2\x84\xa6", AST_OHM, 3, "3 \xe2\x84\xa6"}, {"7 m\xe2\x84\xa6", AST_OHM, 0.007, "7 m\xe2\x84\xa6"},
        {"1.5 mm\xc2\xb2", AST_SECTION, 1.5, "1.5 mm\xc2\xb2"}, {"90 s", AST_TIME, 1.5, "90 s"}, {"0.5 h", AST_TIME, 30, "0.5 h"},
        {"12 Nm", AST_TORQUE, 12, "12 Nm"}, {"120 mm", AST_LENGTH, 0.12, "120 mm"}, {"1e-1 m", AST_LENGTH, 0.1, "1e-1 m"},
        {"30 %", AST_PERCENT, 0.3, "30%"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char text[64];
        snprintf(text, sizeof text, "grades %s", rows[i].text);
        const ast_number *number = one(*state, text)->number;
        assert_int_equal(number->dimension, rows[i].dimension);
        assert_true(number->value == rows[i].value);
        assert_string_equal(number->text, rows[i].canonical);
    }
}

/* Columns of tests/data/awg.csv (its sources stand in its head): the formula's
 * area in mm2, and where there is one a handbook's in circular mils. */
static void check_gauge(bench *b, const char *gauge, double area, double circular_mils)
{
    char text[64];
    snprintf(text, sizeof text, "class c by %s AWG 1 m", strcmp(gauge, "0000") == 0 ? "4/0" : gauge);
    const ast_number *number = one(b, text)->clauses->number;
    assert_int_equal(number->dimension, AST_SECTION);
    assert_true(fabs(number->value - area) < 1e-6);
    if (circular_mils > 0)
        assert_true(fabs(number->value / (circular_mils * 5.067075e-4) - 1) < 1e-3);
}

static void gauges(void **state)
{
    char line[512], gauge[8];
    double area;
    int rows = 0;
    FILE *file = fopen(TEST_ROOT "/tests/data/awg.csv", "r");
    assert_non_null(file);
    while (fgets(line, sizeof line, file) != NULL) {
        if (sscanf(line, "%7[0-9],%*[^,],%*[^,],%lf", gauge, &area) != 2)
            continue;
        const char *column = line;
        for (int i = 0; i < 8; i++)
            column = strchr(column, ',') + 1;
        check_gauge(*state, gauge, area, *column == ',' ? 0 : strtod(column, NULL));
        rows++;
    }
    fclose(file);
    assert_true(rows > 15);
    assert_true(one(*state, "class c by 1/0 AWG 1 m")->clauses->number->value
                == one(*state, "class c by 0 AWG 1 m")->clauses->number->value);
}

/* Under whatever comma locale the machine has; without one there is nothing to ask. */
static void the_locale_changes_nothing(void **state)
{
    static const char *const names[] = {"de_DE.UTF-8", "de_DE.utf8", "de_DE", "fr_FR.UTF-8", "nl_NL.UTF-8"};
    const char *found = NULL;
    for (size_t i = 0; i < sizeof names / sizeof *names && found == NULL; i++)
        found = setlocale(LC_ALL, names[i]);
    if (found == NULL)
        skip();
    double value = one(*state, "class a loose 0.05")->clauses->number->value;
    setlocale(LC_ALL, "C");
    assert_true(value == 0.05);
}

/* ---- statements and their ends ---- */

static void blank_lines_and_comments_do_not_end_a_statement(void **state)
{
    bench *b = *state;
    const ast_file *file = parse(b, "\xef\xbb\xbf# first\r\npoint a\r\n\r\n# comment\r\n   # comment\r\n \tclass b\r\npoint c");
    assert_string_equal(b->said, "");
    assert_int_equal(file->count, 2);
    assert_int_equal(file->first->clauses->sort, AST_C_CLASS);
    assert_int_equal(file->first->clauses->span.line, 6);
    assert_int_equal(file->first->clauses->span.column, 3);
    assert_int_equal(file->last->span.line, 7);
    assert_int_equal(parse(b, "")->count, 0);
    assert_int_equal(parse(b, " \n# nothing\n\t")->count, 0);
}

static void lines_may_be_counted_from_elsewhere(void **state)
{
    bench *b = *state;
    uint32_t source = rl_diag_source(&b->diag, "test", "point 5", 7);
    b->diag.sources[source].first_line = 41;
    rl_parse(&b->arena, &b->diag, source);
    assert_string_equal(b->said, "41:7 118 `5` is no name: a name starts with a letter\n");
}

static void each_error_is_said_once_and_reading_goes_on(void **state)
{
    bench *b = *state;
    const ast_file *file = parse(b, "point a $ $ \"x\nclass b retruns\npoint c\n@\npoint d class e class\nfeed f \"\\q\"\n");
    assert_int_equal(file->count, 1);
    assert_string_equal(file->first->name->text, "c");
    assert_int_equal(b->count, 5);
    static const char *const half[] = {"a", "b", "d", "f"};
    const ast_word *word = file->half_named;
    for (size_t i = 0; i < 4; i++, word = word->next)
        assert_string_equal(word->text, half[i]);
    assert_null(word);
}

static void an_unfinished_statement_before_a_bad_one(void **state)
{
    must_say(*state, "point\n@", "1:6 101 found the end of the statement, expected a name\n"
                                 "2:1 121 `@` may stand only in strings and comments\n");
}

static void a_later_language_is_refused(void **state)
{
    bench *b = *state;
    must_say(b, "# c\nlanguage 2\nfrobnicate\n\"", "2:10 127 this file asks for language 2; this tool knows language 1\n");
    assert_true(parse(b, "language 7\n")->refused);
    assert_false(parse(b, "language 1\npoint 3")->refused);
    must_say(b, "point a\nlanguage 3\npoint 3", "2:1 128 `language` has to be the first statement\n"
                                                "3:7 118 `3` is no name: a name starts with a letter\n");
}

/* ---- words ---- */

static void words_are_sorted_and_known(void **state)
{
    bench *b = *state;
    size_t count;
    const char *const *words = rl_words(&count);
    assert_true(count > 100);
    for (size_t i = 0; i < count; i++) {
        if (i > 0)
            assert_true(strcmp(words[i - 1], words[i]) < 0);
        char text[64];
        snprintf(text, sizeof text, "class %s", words[i]);
        assert_string_equal(one(b, text)->name->text, words[i]);
        snprintf(text, sizeof text, "point %s", words[i]);
        const ast_file *file = parse(b, text);
        assert_int_equal(file->count == 0, rl_is_word(words[i]));
        assert_int_equal(strstr(b->said, " 106 ") != NULL, rl_is_word(words[i]));
    }
    assert_false(rl_is_word("poin") || rl_is_word("points") || rl_is_word("") || rl_is_word("mm2") || rl_is_word("volts"));
}

/* ---- what is large or torn ---- */

static char *repeat(const char *head, const char *piece, size_t count, const char *tail, size_t *length)
{
    size_t each = strlen(piece), begin = strlen(head);
    *length = begin + each * count + strlen(tail);
    char *text = malloc(*length + 1);
    assert_non_null(text);
    memcpy(text, head, begin);
    for (size_t i = 0; i < count; i++)
        memcpy(text + begin + i * each, piece, each);
    strcpy(text + begin + each * count, tail);
    return text;
}

static void check_large(bench *b, const char *head, const char *piece, size_t count, const char *tail, size_t errors)
{
    size_t length;
    char *text = repeat(head, piece, count, tail, &length);
    rl_mark mark = rl_arena_mark(&b->arena);
    size_t used = b->arena.used;
    rl_diag_init(&b->diag, &b->arena, &b->sink, 0);
    parse_bytes(b, text, length);
    assert_int_equal(b->count, errors);
    assert_true(b->arena.used - used < 40 * length + 100000);
    rl_arena_rewind(&b->arena, mark);
    free(text);
}

static void large_texts_are_read_in_bounds(void **state)
{
    bench *b = *state;
    enum { MANY = 1000000 };
    check_large(b, "point ", "abcdefgh", 2 * MANY, "", 0);
    check_large(b, "point a \"", "abcdefgh", 2 * MANY, "\"", 0);
    check_large(b, "point a \"", "abcdefgh", 2 * MANY, "", 1);
    check_large(b, "# ", "abcdefgh", 2 * MANY, "\npoint a", 0);
    check_large(b, "load a draws ", "12345678", 2 * MANY, " W", 1);
    check_large(b, "load a draws 0.", "00000000", 2 * MANY, "1e16000001 W", 0);
    check_large(b, "kind a behaves b", ", c", MANY, "", 0);
    check_large(b, "point a ", "$", MANY, "", 1);
    check_large(b, "", "@\n", MANY, "", 101);
    check_large(b, "", "point 1\n", MANY, "", 101);
    check_large(b, "point a", "\n ", MANY, "class b", 0);
}

static void a_file_of_gigabytes_is_refused(void **state)
{
    bench *b = *state;
    /* The length alone decides: the text behind it is not looked at. */
    const ast_file *file = rl_parse(&b->arena, &b->diag, rl_diag_source(&b->diag, "test", "point a", 7));
    assert_int_equal(file->count, 1);
    uint32_t source = rl_diag_source(&b->diag, "test", "\npoint a", 8);
    b->diag.sources[source].length = AST_MAX_BYTES + 1;
    file = rl_parse(&b->arena, &b->diag, source);
    assert_true(file->refused && file->damaged);
    assert_string_equal(b->said, "1:1 703 the file is larger than 256 MB; a file of that size is not read\n");
}

static uint32_t next_random(uint32_t *seed)
{
    return (*seed = *seed * 1664525u + 1013904223u) >> 8;
}

static const char sample[] =
    "language 1\nvehicle v \"\xc3\xa9\" supply 12 V spread 4%\nclass c loose 1% joint sound 2 mohm spread 3 by 2/0 AWG 1 m\n"
    "kind k behaves a, open failed 1%\n  when return open open 3% # x\n  short of 2 V open 0.1\npoint p class c torque 12 Nm\n"
    "load l \"a \\\" b\" kind k returns through p via q by 1 mm\xc2\xb2 2 m or r\ncase \"1\" on v\nl open sure 80% with bypass at p\n"
    "drop l from p 0.3 V at 2 A also m, n\nfound only l.wire loose\nexpect p above 60%\n";

/* Bytes changed, dropped and doubled at random: whatever is saved is whole,
 * prints, and reads back; whatever is lost was said. */
static void torn_texts_do_no_harm(void **state)
{
    bench *b = *state;
    static const char spice[] = "\n\n \t\"\\#,.%-/0\x00\xff\xc3\x80\r@e1";
    uint32_t seed = 7;
    for (int round = 0; round < 4000; round++) {
        char text[sizeof sample];
        size_t length = sizeof sample - 1;
        memcpy(text, sample, length);
        for (uint32_t i = next_random(&seed) % 6; i > 0; i--)
            text[next_random(&seed) % length] = spice[next_random(&seed) % (sizeof spice - 1)];
        length -= next_random(&seed) % 4 == 0 ? next_random(&seed) % length : 0;
        rl_mark mark = rl_arena_mark(&b->arena);
        rl_diag_init(&b->diag, &b->arena, &b->sink, 0);
        const ast_file *file = parse_bytes(b, text, length);
        assert_int_equal(file->damaged, b->count > 0);
        rl_text once = {.arena = &b->arena}, twice = {.arena = &b->arena};
        rl_print_file(&once, file);
        bool refused = file->refused;
        file = parse_bytes(b, once.bytes, once.length);
        if (!refused && b->count > 0)
            fail_msg("%s%s", b->said, once.bytes);
        rl_print_file(&twice, file);
        if (b->count == 0)
            assert_string_equal(once.bytes, twice.bytes);
        rl_arena_rewind(&b->arena, mark);
    }
}

static int parse_with(bench *b, size_t pieces)
{
    jmp_buf out;
    rl_mark mark = rl_arena_mark(&b->arena);
    b->arena.bail = &out;
    b->left = pieces;
    volatile int whole = 0;
    if (setjmp(out) == 0) {
        rl_diag_init(&b->diag, &b->arena, &b->sink, 0);
        const ast_file *file = parse(b, sample);
        rl_text text = {.arena = &b->arena};
        rl_print_file(&text, file);
        whole = file->count == 11;
    }
    b->left = SIZE_MAX;
    rl_arena_rewind(&b->arena, mark);
    return whole;
}

static void memory_may_fail_at_every_piece(void **state)
{
    bench *b = *state;
    size_t pieces = 0;
    while (!parse_with(b, pieces) && pieces < 100)
        pieces++;
    assert_true(pieces > 1 && pieces < 100);
    assert_int_equal(b->arena.used, 0);
}

int main(void)
{
#define TEST(function) cmocka_unit_test_setup_teardown(function, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(a_load), TEST(a_kind), TEST(lines_of_evidence), TEST(units), TEST(gauges),
        TEST(the_locale_changes_nothing), TEST(blank_lines_and_comments_do_not_end_a_statement),
        TEST(lines_may_be_counted_from_elsewhere), TEST(each_error_is_said_once_and_reading_goes_on),
        TEST(an_unfinished_statement_before_a_bad_one), TEST(a_later_language_is_refused),
        TEST(words_are_sorted_and_known), TEST(large_texts_are_read_in_bounds),
        TEST(a_file_of_gigabytes_is_refused), TEST(torn_texts_do_no_harm), TEST(memory_may_fail_at_every_piece),
    };
#undef TEST
    return cmocka_run_group_tests_name("parse", tests, NULL, NULL) != 0;
}

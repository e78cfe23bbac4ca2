/* test_diag.c: places and texts of messages, the limits, the nearest word, and
 * numbers to text and back.  Numbers are held against the C library's own
 * strtod and printf in the C locale, which share no code with ours. */
#include "diag.h"
#include "number.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <float.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct heard {
    size_t count;
    int number;
    size_t line, column, width, line_length, other_line;
    char text[2048], path[64], line_text[256];
} heard;

static void hear(void *user, const rl_report *report)
{
    heard *h = user;
    h->count++;
    h->number = report->number;
    h->line = report->line;
    h->column = report->column;
    h->width = report->width;
    h->other_line = report->other_line;
    snprintf(h->text, sizeof h->text, "%s", report->text);
    snprintf(h->path, sizeof h->path, "%s", report->path != NULL ? report->path : "");
    h->line_length = report->line_length;
    snprintf(h->line_text, sizeof h->line_text, "%.*s", (int)report->line_length,
             report->line_text != NULL ? report->line_text : "");
}

static void *take(void *user, size_t size)
{
    (void)user;
    return malloc(size);
}

static void give(void *user, void *piece)
{
    (void)user;
    free(piece);
}

typedef struct bench {
    rl_arena arena;
    rl_diag diag;
    rl_sink sink;
    heard heard;
} bench;

static int set_up(void **state)
{
    const rl_allocator allocator = {take, give, NULL};
    bench *b = calloc(1, sizeof *b);
    rl_arena_init(&b->arena, &allocator, 0);
    b->sink = (rl_sink){hear, &b->heard};
    rl_diag_init(&b->diag, &b->arena, &b->sink, 3);
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

static void a_message_has_its_place(void **state)
{
    bench *b = *state;
    static const char text[] = "\xef\xbb\xbfone\r\ntw\xc3\xb6 words\nthree";
    uint32_t source = rl_diag_source(&b->diag, "x.gnd", text, sizeof text - 1);
    assert_int_equal(b->diag.sources[source].length, sizeof text - 1 - 3);
    rl_say(&b->diag, (rl_span){source, 7, 9, 2, 3}, RL_MSG_SYNTAX, "a", "b", NULL);
    assert_string_equal(b->heard.text, "found a, expected b");
    assert_string_equal(b->heard.path, "x.gnd");
    assert_string_equal(b->heard.line_text, "tw\xc3\xb6 words");
    assert_int_equal(b->heard.number, 101);
    assert_int_equal(b->heard.line, 2);
    assert_int_equal(b->heard.column, 3);
    assert_int_equal(b->heard.width, 1);  /* two bytes, one character */
    rl_say(&b->diag, (rl_span){source, 0, 400, 1, 1}, RL_MSG_INDENTED, NULL, NULL, NULL);
    assert_string_equal(b->heard.line_text, "one");
    assert_int_equal(b->heard.width, 3);  /* no further than the line */
    rl_say_also(&b->diag, (rl_span){source, 19, 19, 3, 6}, RL_MSG_INDENTED, NULL, NULL, NULL,
                (rl_span){source, 0, 3, 1, 1});
    assert_int_equal(b->heard.width, 1);
    assert_int_equal(b->heard.other_line, 1);
}

static void a_message_without_place(void **state)
{
    bench *b = *state;
    rl_say(&b->diag, (rl_span){.source = 7}, RL_MSG_NESTED, NULL, NULL, NULL);
    assert_string_equal(b->heard.path, "");
    assert_string_equal(b->heard.text, "nested too deeply");
}

static void arguments_are_harmless(void **state)
{
    bench *b = *state;
    char lengthy[5000];
    rl_say(&b->diag, (rl_span){.source = 0}, RL_MSG_STATEMENT_CLAUSE,
           "a\x1b[1m\n\x7f\xff\xc2\x9b\xe2\x80\xae\xc3\xa9\xc3", NULL, NULL);
    assert_string_equal(b->heard.text, "a\\x1b[1m\\x0a\\x7f\\xff\\xc2\\x9b\\xe2\\x80\\xae\xc3\xa9\\xc3"
                                       " begins no statement; what belongs to the statement before is indented");
    memset(lengthy, 'x', sizeof lengthy - 1);
    lengthy[sizeof lengthy - 1] = '\0';
    rl_say(&b->diag, (rl_span){.source = 0}, RL_MSG_SYNTAX, lengthy, "%1 %2", NULL);
    assert_true(strlen(b->heard.text) < 500);
    assert_non_null(strstr(b->heard.text, "x…, expected %1 %2"));
}

static void messages_leave_no_memory_behind(void **state)
{
    bench *b = *state;
    rl_arena_get(&b->arena, 1);
    size_t used = b->arena.used;
    for (int i = 0; i < 100000; i++)
        rl_say(&b->diag, (rl_span){.source = 0}, RL_MSG_INDENTED, NULL, NULL, NULL);
    assert_int_equal(b->arena.used, used);
}

static void errors_end_at_the_limit(void **state)
{
    bench *b = *state;
    for (int i = 0; i < 3; i++)
        rl_say(&b->diag, (rl_span){.source = 0}, RL_MSG_INDENTED, NULL, NULL, NULL);
    assert_false(rl_diag_full(&b->diag));
    assert_int_equal(b->heard.number, 105);
    for (int i = 0; i < 10; i++)
        rl_say(&b->diag, (rl_span){.source = 0}, RL_MSG_INDENTED, NULL, NULL, NULL);
    assert_true(rl_diag_full(&b->diag));
    assert_int_equal(b->heard.number, 701);
    assert_int_equal(b->heard.count, 4);
    assert_int_equal(b->diag.errors, 13);
}

static void nobody_need_listen(void **state)
{
    bench *b = *state;
    b->diag.sink = NULL;
    rl_say(&b->diag, (rl_span){.source = 0}, RL_MSG_INDENTED, NULL, NULL, NULL);
    b->sink.say = NULL;
    b->diag.sink = &b->sink;
    rl_say(&b->diag, (rl_span){.source = 0}, RL_MSG_INDENTED, NULL, NULL, NULL);
    assert_int_equal(b->diag.errors, 2);
    assert_int_equal(b->heard.count, 0);
}

static void the_nearest_word(void **state)
{
    (void)state;
    static const char *const words[] = {"returns", "return", "rated", "rear", "real", "V", "mV"};
    enum { COUNT = sizeof words / sizeof *words };
    assert_string_equal(rl_nearest("retruns", words, COUNT), "returns");
    assert_string_equal(rl_nearest("returns", words, COUNT), "returns");
    assert_string_equal(rl_nearest("retun", words, COUNT), "return");
    assert_string_equal(rl_nearest("RETURN", words, COUNT), "return");
    assert_string_equal(rl_nearest("reab", words, COUNT), "rear");  /* ties: the first */
    assert_string_equal(rl_nearest("v", words, COUNT), "V");
    assert_null(rl_nearest("x", words, COUNT));
    assert_null(rl_nearest("banana", words, COUNT));
    assert_null(rl_nearest("", words, COUNT));
    assert_null(rl_nearest("retruns", words, 0));
    assert_null(rl_nearest("returnsreturnsreturnsreturnsreturnsreturnsreturnsreturnsreturnsreturns", words, COUNT));
}

/* ---- numbers ---- */

static uint64_t next_random(uint64_t *seed)
{
    uint64_t z = *seed += 0x9e3779b97f4a7c15u;
    z = (z ^ z >> 30) * 0xbf58476d1ce4e5b9u;
    z = (z ^ z >> 27) * 0x94d049bb133111ebu;
    return z ^ z >> 31;
}

static double any_double(uint64_t *seed)
{
    for (;;) {
        uint64_t bits = next_random(seed);
        double number;
        memcpy(&number, &bits, sizeof number);
        if (isfinite(number))
            return number;
    }
}

static void check_read(const char *text)
{
    double ours, theirs = strtod(text, NULL);
    rl_number_fault fault = rl_number_read(text, strlen(text), &ours);
    if (memcmp(&ours, &theirs, sizeof ours) != 0)
        fail_msg("%s reads as %.17g, not %.17g", text, ours, theirs);
    assert_int_equal(fault == RL_NUMBER_LARGE, isinf(theirs));
}

static void numbers_read_as_the_library_reads_them(void **state)
{
    (void)state;
    static const char *const hard[] = {
        "0", "-0", "0.0e99", "1", "-1", "0.1", "0.3", "123456789012345678", "9007199254740993", "9007199254740991.5",
        "2.2250738585072011e-308", "2.2250738585072014e-308", "4.9406564584124654e-324", "2.4703282292062327e-324",
        "2.4703282292062328e-324", "1.7976931348623157e308", "1.7976931348623158e308", "1.7976931348623159e308",
        "1e308", "1e309", "1e-400", "8.5e22", "1e23", "6.631236846766476e-316", "0.000001e6",
        "9007199254740992.9999999999999999999999999999", "1.00000000000000011102230246251565404",
        "1.000000000000000111022302462515654042363166809082031250000000000000000000000000000000000000000001",
        "100000000000000000000000000000000000000000000000000000000000000000000e-68",
        "0.00000000000000000000000000000000000000000000000000000000000000000001e68",
    };
    for (size_t i = 0; i < sizeof hard / sizeof *hard; i++)
        check_read(hard[i]);
    uint64_t seed = 1;
    for (int i = 0; i < 20000; i++) {
        char text[64];
        snprintf(text, sizeof text, "%.*e", (int)(next_random(&seed) % 20), any_double(&seed));
        check_read(text);
        snprintf(text, sizeof text, "%.*f", (int)(next_random(&seed) % 12), ldexp(any_double(&seed) > 0 ? 0.7 : -0.9, i % 40));
        check_read(text);
    }
}

/* Points halfway between two doubles, written out in full. */
static void halves_are_rounded_to_even(void **state)
{
    (void)state;
    uint64_t seed = 2;
    for (int i = 0; i < 2000; i++) {
        double low = ldexp(1 + (double)(next_random(&seed) >> 12) * 0x1p-52, (int)(next_random(&seed) % 60) - 30);
        char text[256];
        long double half = ((long double)low + (long double)nextafter(low, INFINITY)) / 2;
        snprintf(text, sizeof text, "%.120Lf", half);
        check_read(text);
        text[strlen(text) - 1] = '1';
        check_read(text);
    }
}

static void lengthy_numbers(void **state)
{
    (void)state;
    enum { LONG = 5000 };
    char text[LONG + 64];
    double number;
    memset(text, '0', LONG);
    strcpy(text + LONG, "1");
    assert_int_equal(rl_number_read(text, strlen(text), &number), RL_NUMBER_OK);
    assert_true(number == 1);
    memset(text, '9', LONG);
    strcpy(text + LONG, "e-4999");
    check_read(text);
    strcpy(text + LONG, "e-400000000000000000000");
    assert_int_equal(rl_number_read(text, strlen(text), &number), RL_NUMBER_SMALL);
    assert_int_equal(rl_number_read(text, LONG, &number), RL_NUMBER_LARGE);
    assert_int_equal(rl_number_read("1e-400", 6, &number), RL_NUMBER_SMALL);
    assert_int_equal(rl_number_read("0e999999999999", 14, &number), RL_NUMBER_OK);
}

static const char *put(bench *b, double number, int digits)
{
    rl_text text = {.arena = &b->arena};
    rl_put_number(&text, number, digits);
    return text.bytes;
}

static void numbers_are_put_as_a_person_would(void **state)
{
    bench *b = *state;
    static const struct { double number; int digits; const char *text; } rows[] = {
        {0, 0, "0"}, {-0.0, 0, "0"}, {1, 0, "1"}, {-12.5, 0, "-12.5"}, {0.1, 0, "0.1"}, {0.3, 0, "0.3"},
        {0.1 + 0.2, 0, "0.30000000000000004"}, {100, 0, "100"}, {123456, 0, "123456"}, {1e15, 0, "1e15"},
        {1e14, 0, "100000000000000"}, {0.00001, 0, "0.00001"}, {0.000001, 0, "1e-6"}, {1.5e-7, 0, "1.5e-7"},
        {1e300, 0, "1e300"}, {5e-324, 0, "5e-324"}, {DBL_MAX, 0, "1.7976931348623157e308"},
        {2.0 / 3, 3, "0.667"}, {2.0 / 3, 1, "0.7"}, {999.96, 4, "1000"}, {99.5, 2, "100"}, {0.25, 5, "0.25"},
        {1234567, 2, "1200000"}, {INFINITY, 0, "inf"}, {-INFINITY, 0, "-inf"}, {NAN, 0, "nan"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_string_equal(put(b, rows[i].number, rows[i].digits), rows[i].text);
}

/* The least digits with which printf's rounding reads back. */
static int digits_needed(double number)
{
    char text[64];
    for (int digits = 1; digits < 17; digits++) {
        snprintf(text, sizeof text, "%.*e", digits - 1, number);
        if (strtod(text, NULL) == number)
            return digits;
    }
    return 17;
}

static int digits_of(const char *text)
{
    int count = 0, zeros = 0;
    for (; *text != '\0' && *text != 'e'; text++) {
        if (*text == '0' && count == 0)
            continue;
        if (*text >= '0' && *text <= '9') {
            count++;
            zeros = *text == '0' ? zeros + 1 : 0;
        }
    }
    return count - zeros;
}

static void numbers_are_short_and_read_back(void **state)
{
    bench *b = *state;
    uint64_t seed = 3;
    for (int i = 0; i < 20000; i++) {
        rl_mark mark = rl_arena_mark(&b->arena);
        double number = any_double(&seed);
        if (i % 3 == 1)
            number = (double)(next_random(&seed) % 100000000) / 1000;
        if (i % 3 == 2)
            number = ldexp((double)(next_random(&seed) >> 11), -53);
        if (i % 100 == 0)
            number = ldexp((double)(next_random(&seed) >> 40), -1074);
        const char *text = put(b, number, 0);
        if (strtod(text, NULL) != number)
            fail_msg("%s is not %.17g", text, number);
        assert_int_equal(digits_of(text), number == 0 ? 0 : digits_needed(number));
        rl_arena_rewind(&b->arena, mark);
    }
}

static void text_grows(void **state)
{
    bench *b = *state;
    rl_text text = {.arena = &b->arena};
    for (size_t i = 0; i < 3000; i++)
        rl_put_count(&text, i % 10);
    assert_int_equal(text.length, 3000);
    assert_int_equal(strlen(text.bytes), 3000);
    for (size_t i = 0; i < 3000; i++)
        assert_int_equal(text.bytes[i], '0' + (int)(i % 10));
    rl_text count = {.arena = &b->arena};
    rl_put_count(&count, SIZE_MAX);
    assert_string_equal(count.bytes, "18446744073709551615");
}

int main(void)
{
#define TEST(function) cmocka_unit_test_setup_teardown(function, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(a_message_has_its_place), TEST(a_message_without_place), TEST(arguments_are_harmless),
        TEST(messages_leave_no_memory_behind), TEST(errors_end_at_the_limit), TEST(nobody_need_listen),
        TEST(the_nearest_word), TEST(numbers_read_as_the_library_reads_them), TEST(halves_are_rounded_to_even),
        TEST(lengthy_numbers), TEST(numbers_are_put_as_a_person_would), TEST(numbers_are_short_and_read_back),
        TEST(text_grows),
    };
#undef TEST
    return cmocka_run_group_tests_name("diag", tests, NULL, NULL) != 0;
}

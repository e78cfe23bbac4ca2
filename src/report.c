/* report.c: how a diagnostic looks.
 *
 * `FILE:LINE:COLUMN: error: text [number]`, the source line, the caret.  The
 * first is one line, but on a terminal, where it is broken at the edge.
 * Invariant: nothing of the source reaches the terminal raw, and the caret
 * stands under the character it means: tabs, escapes and the cut of a long
 * line are counted in the columns that are printed.
 */
#include "report.h"

#include "term.h"

#include <assert.h>
#include <string.h>

enum { ROOM = 76, TAB = 8, LONGEST_TEXT = 600, HANG = 4 };

/* Where character `column` (from 1) begins; the end if the line is shorter. */
static size_t offset_of(const char *line, size_t length, size_t column)
{
    assert(column > 0);
    size_t at = 0;
    uint32_t point;
    for (size_t i = 1; i < column && at < length; i++) {
        size_t n = term_decode(line + at, length - at, &point);
        at += n > 0 ? n : 1;
    }
    return at;
}

/* Start of the character `count` characters before `at`. */
static size_t back(const char *line, size_t at, size_t count)
{
    while (count-- > 0 && at > 0) {
        at--;
        for (int i = 0; i < 3 && at > 0 && ((unsigned char)line[at] & 0xC0) == 0x80; i++)
            at--;
    }
    return at;
}

/* Puts the safe form of one character, a tab as spaces; returns its bytes. */
static size_t put_one(text *out, const char *s, size_t length)
{
    if (*s != '\t')
        return term_safe_one(out, s, length);
    size_t fill = TAB - term_cells(text_get(out)) % TAB;
    text_add(out, "%*s", (int)fill, "");
    return 1;
}

/* Puts characters from `at` while fewer than `room` columns are filled and
 * fewer than `most` characters were taken. */
static size_t put_span(text *out, const char *line, size_t length, size_t at, size_t room, size_t most)
{
    while (at < length && most-- > 0 && term_cells(text_get(out)) < room)
        at += put_one(out, line + at, length - at);
    return at;
}

static void print_source(FILE *out, const rl_report *r)
{
    size_t caret = offset_of(r->line_text, r->line_length, r->column);
    size_t from = 0;
    text shown = { 0 }, mark = { 0 };
    put_span(&shown, r->line_text, caret, 0, ROOM + 1, ROOM + 1);
    for (size_t count = ROOM / 4; count > 0 && term_cells(text_get(&shown)) > ROOM / 2; count /= 2) {
        from = back(r->line_text, caret, count);  /* start nearer to the caret */
        text_clear(&shown);
        text_add(&shown, "%s", from > 0 ? "..." : "");
        put_span(&shown, r->line_text, caret, from, SIZE_MAX, SIZE_MAX);
    }
    text_add(&mark, "%*s", (int)term_cells(text_get(&shown)), "");
    size_t before = term_cells(text_get(&shown));
    size_t room = before + 8 > ROOM ? before + 8 : ROOM;
    size_t end = put_span(&shown, r->line_text, r->line_length, caret, room, r->width > 0 ? r->width : 1);
    size_t under = term_cells(text_get(&shown)) - before;
    end = put_span(&shown, r->line_text, r->line_length, end, room, SIZE_MAX);
    if (end < r->line_length)
        text_add(&shown, "...");
    for (size_t i = 0; i < (under > 0 ? under : 1); i++)
        text_add(&mark, "^");
    fprintf(out, "  %s\n  %s\n", text_get(&shown), text_get(&mark));
    text_free(&shown);
    text_free(&mark);
}

static void put_place(text *out, const char *path, size_t line, size_t column)
{
    term_safe(out, path);
    text_add(out, ":%zu:%zu", line, column);
}

void report_print(FILE *out, const rl_report *r)
{
    static const char *const severity[] = { "note", "warning", "error" };
    assert(r->text != NULL && r->severity <= RL_ERROR);
    text line = { 0 }, said = { 0 };
    if (r->path != NULL)
        put_place(&line, r->path, r->line, r->column);
    else
        text_add(&line, "ringlug");
    term_safe(&said, r->text);
    if (said.length > LONGEST_TEXT)
        said.length = back(said.bytes, LONGEST_TEXT, 1);
    text_add(&line, ": %s: %.*s", severity[r->severity], (int)said.length, text_get(&said));
    if (r->number > 0)
        text_add(&line, " [%d]", r->number);
    term_hang(out, HANG, text_get(&line));
    if (r->line_text != NULL && r->line_length > 0 && r->path != NULL)
        print_source(out, r);
    if (r->other_path != NULL) {
        text_clear(&line);
        put_place(&line, r->other_path, r->other_line, r->other_column);
        text_add(&line, ": note: the other place is here");
        term_hang(out, HANG, text_get(&line));
    }
    text_free(&line);
    text_free(&said);
}

void report_say(const char *format, ...)
{
    va_list list;
    text said = { 0 }, safe = { 0 };
    va_start(list, format);
    text_add_list(&said, format, list);
    va_end(list);
    term_safe(&safe, text_get(&said));
    fflush(stdout);   /* what was said before stands before */
    term_hang(stderr, HANG, text_get(&safe));
    text_free(&safe);
    text_free(&said);
}

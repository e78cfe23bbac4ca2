/* show.c: prints messages into memory, without the tool's own code.
 *
 * Invariant: bytes of the source line that are no printable ASCII and no part
 * of a character are shown as \xNN, so that an expected text is plain UTF-8.
 */
#include "show.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void show_put(shown *out, const char *bytes, size_t length)
{
    if (out->length + length + 1 > out->room) {
        out->room = 2 * (out->length + length) + 64;
        out->text = realloc(out->text, out->room);
        if (out->text == NULL)
            abort();
    }
    memcpy(out->text + out->length, bytes, length);
    out->length += length;
    out->text[out->length] = '\0';
}

static void put(shown *out, const char *string)
{
    show_put(out, string, strlen(string));
}

static void put_place(shown *out, const char *path, size_t line, size_t column)
{
    char numbers[64];
    snprintf(numbers, sizeof numbers, ":%zu:%zu: ", line, column);
    put(out, path);
    put(out, numbers);
}

static int continues(const unsigned char *s, size_t length)
{
    for (size_t i = 1; i < length; i++)
        if ((s[i] & 0xc0) != 0x80)
            return 0;
    return 1;
}

/* Bytes of a character that prints as itself; 0 if there is none. */
static size_t character_length(const char *text, size_t left)
{
    const unsigned char *s = (const unsigned char *)text;
    size_t length = s[0] < 0x80 ? 1 : s[0] < 0xe0 ? 2 : s[0] < 0xf0 ? 3 : 4;
    if (length == 1)
        return s[0] >= 0x20 && s[0] != 0x7f;
    if (s[0] < 0xc2 || left < length || !continues(s, length))
        return 0;
    if ((s[0] == 0xc2 && s[1] < 0xa0) || (s[0] == 0xed && s[1] > 0x9f) || s[0] > 0xf3)
        return 0;
    return s[0] == 0xe2 && s[1] == 0x80 && s[2] >= 0xa8 && s[2] <= 0xae ? 0 : length;
}

/* One character of the line; *cells is how wide it came out. */
static size_t put_character(shown *out, const char *s, size_t left, size_t *cells)
{
    size_t length = character_length(s, left);
    if (length > 0) {
        show_put(out, s, length);
        *cells += 1;
        return length;
    }
    char escaped[8];
    snprintf(escaped, sizeof escaped, "\\x%02x", (unsigned char)*s);
    put(out, escaped);
    *cells += 4;
    return 1;
}

static void put_source(shown *out, const rl_report *report)
{
    size_t before = 0, under = 0, behind = 0, character = 1;
    put(out, "  ");
    for (size_t i = 0; i < report->line_length; character++) {
        size_t *cells = character < report->column ? &before
                      : character < report->column + report->width ? &under : &behind;
        i += put_character(out, report->line_text + i, report->line_length - i, cells);
    }
    put(out, "\n  ");
    for (; before > 0; before--)
        put(out, " ");
    for (under += under == 0; under > 0; under--)
        put(out, "^");
    put(out, "\n");
}

void show_report(shown *out, const rl_report *report)
{
    static const char *const severity[] = {"note: ", "warning: ", "error: "};
    char number[16];
    if (report->path != NULL)
        put_place(out, report->path, report->line, report->column);
    put(out, severity[report->severity]);
    put(out, report->text);
    snprintf(number, sizeof number, " [%d]\n", report->number);
    put(out, number);
    if (report->path != NULL && report->line_text != NULL)
        put_source(out, report);
    if (report->other_path != NULL) {
        put_place(out, report->other_path, report->other_line, report->other_column);
        put(out, "note: the other place is here\n");
    }
}

char *show_file(const char *path, size_t *length)
{
    FILE *file = fopen(path, "rb");
    char piece[4096];
    shown all = {NULL, 0, 0};
    if (file == NULL)
        return NULL;
    show_put(&all, "", 0);
    for (size_t got; (got = fread(piece, 1, sizeof piece, file)) > 0;)
        show_put(&all, piece, got);
    int failed = ferror(file);
    fclose(file);
    if (failed) {
        free(all.text);
        return NULL;
    }
    *length = all.length;
    return all.text;
}

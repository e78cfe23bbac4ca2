/* term.c: the terminal: width, colour, safe text, wrapping.  Invariant: see term.h. */
#ifndef _XOPEN_SOURCE
#define _XOPEN_SOURCE 700
#endif
#include "term.h"

#include <assert.h>
#include <langinfo.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { WIDEST = 80, FEWEST = 20, LEAST_ROOM = 12, NARROW_HANG = 2 };

size_t term_columns(FILE *out)
{
    struct winsize size;
    if (!isatty(fileno(out)))
        return 0;
    return ioctl(fileno(out), TIOCGWINSZ, &size) != 0 || size.ws_col == 0 ? WIDEST : size.ws_col;
}

static size_t page_width(FILE *out)
{
    size_t columns = term_columns(out);
    if (columns == 0 || columns > WIDEST)
        return WIDEST;
    return columns > FEWEST ? columns : FEWEST;
}

screen term_screen(FILE *out, bool plain)
{
    const char *no_colour = getenv("NO_COLOR");
    const char *kind = getenv("TERM");
    bool dumb = kind == NULL || strcmp(kind, "dumb") == 0;
    bool colour = !plain && !dumb && (no_colour == NULL || no_colour[0] == '\0') && isatty(fileno(out));
    bool unicode = strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
    return (screen){ .out = out, .width = page_width(out), .colour = colour, .unicode = unicode };
}

static size_t sequence_length(unsigned char lead)
{
    if (lead < 0x80)
        return 1;
    if (lead >= 0xC2 && lead < 0xE0)
        return 2;
    if (lead >= 0xE0 && lead < 0xF0)
        return 3;
    return lead >= 0xF0 && lead < 0xF5 ? 4 : 0;
}

size_t term_decode(const char *s, size_t length, uint32_t *point)
{
    static const uint32_t least[5] = { 0, 0, 0x80, 0x800, 0x10000 };
    size_t n = length > 0 ? sequence_length((unsigned char)s[0]) : 0;
    if (n == 0 || n > length)
        return 0;
    uint32_t p = n == 1 ? (unsigned char)s[0] : (unsigned char)s[0] & (0x7Fu >> n);
    for (size_t i = 1; i < n; i++) {
        if (((unsigned char)s[i] & 0xC0) != 0x80)
            return 0;
        p = p << 6 | ((unsigned char)s[i] & 0x3F);
    }
    if (p < least[n] || p > 0x10FFFF || (p >= 0xD800 && p < 0xE000))
        return 0;
    *point = p;
    return n;
}

size_t term_cells(const char *s)
{
    size_t cells = 0;
    for (; *s != '\0'; s++)
        cells += ((unsigned char)*s & 0xC0) != 0x80;
    return cells;
}

/* Controls, and the invisible marks that reorder or break a line. */
static bool dangerous(uint32_t p)
{
    return p < 0x20 || (p >= 0x7F && p < 0xA0) || p == 0x61C || p == 0xFEFF
           || (p >= 0x200B && p <= 0x200F) || (p >= 0x2028 && p <= 0x202E)
           || (p >= 0x2060 && p <= 0x206F);
}

size_t term_safe_one(text *out, const char *s, size_t length)
{
    assert(length > 0);
    uint32_t point;
    size_t n = term_decode(s, length, &point);
    if (n > 0 && !dangerous(point)) {
        text_put(out, s, n);
        return n;
    }
    n = n > 0 ? n : 1;
    for (size_t i = 0; i < n; i++)
        text_add(out, "\\x%02X", (unsigned)(unsigned char)s[i]);
    return n;
}

void term_safe(text *out, const char *s)
{
    size_t length = strlen(s);
    for (size_t at = 0; at < length;)
        at += term_safe_one(out, s + at, length - at);
}

/* Bytes of the first `cells` characters of a safe text. */
static size_t bytes_of(const char *s, size_t cells)
{
    size_t at = 0;
    for (; s[at] != '\0'; at++) {
        if (((unsigned char)s[at] & 0xC0) == 0x80)
            continue;
        if (cells == 0)
            break;
        cells--;
    }
    return at;
}

void term_fit(const screen *sc, text *out, const char *s, size_t cells)
{
    assert(cells > 0);
    text safe = { 0 };
    term_safe(&safe, s);
    size_t have = term_cells(text_get(&safe));
    const char *mark = sc->unicode ? "…" : "~";
    if (have > cells) {
        text_put(out, safe.bytes, bytes_of(safe.bytes, cells - 1));
        text_add(out, "%s", mark);
    } else {
        text_add(out, "%s%*s", text_get(&safe), (int)(cells - have), "");
    }
    text_free(&safe);
}

/* Bytes of the line that fits into `room` columns: up to the last space in
 * it; a single word that is longer is broken. */
static size_t line_bytes(const char *s, size_t room)
{
    size_t most = bytes_of(s, room);
    if (s[most] == '\0')
        return most;
    for (size_t at = most; at > 0; at--)
        if (s[at] == ' ')
            return at;
    return most;
}

/* `first` columns for the first line, `room` for those that follow; one line at least. */
static void put_lines(FILE *out, size_t first, size_t room, size_t indent, const char *safe)
{
    for (bool again = false; again ? *safe != '\0' : true; again = true) {
        size_t length = line_bytes(safe, again ? room : first);
        if (again)
            fprintf(out, "%*s", (int)indent, "");
        fwrite(safe, 1, length, out);
        fputc('\n', out);
        safe += length;
        while (*safe == ' ')
            safe++;
    }
}

void term_wrap(const screen *sc, const char *first, size_t indent, const char *safe)
{
    assert(term_cells(first) <= indent);
    size_t cells = term_cells(first), length = strlen(first);
    if (sc->width >= indent + LEAST_ROOM) {
        fputs(first, sc->out);
        put_lines(sc->out, sc->width - indent, sc->width - indent, indent, safe);
    } else if (sc->width >= cells + LEAST_ROOM) {   /* too narrow to hang so far in */
        fputs(first, sc->out);
        put_lines(sc->out, sc->width - cells, sc->width - NARROW_HANG, NARROW_HANG, safe);
    } else {
        while (length > 0 && first[length - 1] == ' ')
            length--;
        fprintf(sc->out, length > 0 ? "%.*s\n%*s" : "%.*s%*s", (int)length, first, NARROW_HANG, "");
        put_lines(sc->out, sc->width - NARROW_HANG, sc->width - NARROW_HANG, NARROW_HANG, safe);
    }
}

void term_hang(FILE *out, size_t indent, const char *safe)
{
    assert(indent < FEWEST);
    size_t columns = term_columns(out);
    if (columns == 0)
        columns = SIZE_MAX;
    else if (columns < FEWEST)
        columns = FEWEST;
    put_lines(out, columns, columns - indent, indent, safe);
}

void term_heading(const screen *sc, const char *safe)
{
    fputs(sc->colour ? "\033[1m" : "", sc->out);
    for (size_t length; *safe != '\0'; safe += strspn(safe + length, " ") + length) {
        length = line_bytes(safe, sc->width);
        fwrite(safe, 1, length, sc->out);
        if (safe[length + strspn(safe + length, " ")] != '\0')
            fputc('\n', sc->out);
    }
    fputs(sc->colour ? "\033[0m\n" : "\n", sc->out);
}

void term_bar(const screen *sc, text *out, double share, size_t cells)
{
    assert(share >= 0 && share <= 1.000001);   /* a probability */
    size_t full = (size_t)(share * (double)cells + 0.5);
    for (size_t i = 0; i < cells; i++)
        text_add(out, "%s", i < full ? (sc->unicode ? "█" : "#") : (sc->unicode ? "░" : "."));
}

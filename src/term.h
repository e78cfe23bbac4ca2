/* term.h: the terminal: its width, colour, and printing that is safe.
 *
 * Invariant: text that came from a file or a user reaches the terminal only
 * through term_safe or term_fit, which let no control character through.
 */
#ifndef TERM_H
#define TERM_H

#include "text.h"

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

typedef struct screen {
    FILE *out;
    size_t width;       /* columns that may be used, 20 to 80 */
    bool colour;        /* a terminal that wants it; never the only bearer of a meaning */
    bool unicode;       /* the locale shows UTF-8 */
} screen;

/* How `out` may be used.  Colour needs a terminal, no NO_COLOR and not `plain`. */
screen term_screen(FILE *out, bool plain);

/* Columns of the terminal behind `out`, 80 where it does not say; 0: `out` is none. */
size_t term_columns(FILE *out);

/* Length of the UTF-8 sequence at `s` and its code point; 0 if it is not valid. */
size_t term_decode(const char *s, size_t length, uint32_t *point);
/* Columns of a safe text: its code points. */
size_t term_cells(const char *s);
/* One character of a source, made safe: itself, or \xNN for each of its bytes. */
size_t term_safe_one(text *out, const char *s, size_t length);
void term_safe(text *out, const char *s);
/* Made safe, cut to `cells` columns with an ellipsis, filled up with spaces. */
void term_fit(const screen *sc, text *out, const char *s, size_t cells);
/* A safe text, broken at spaces; the first line starts with `first` (already
 * `indent` columns wide), the following ones with `indent` spaces. */
void term_wrap(const screen *sc, const char *first, size_t indent, const char *safe);
/* A safe text as one line; on a terminal broken at spaces, the lines that
 * follow the first with `indent` spaces. */
void term_hang(FILE *out, size_t indent, const char *safe);
/* A heading: bold where there is colour. */
void term_heading(const screen *sc, const char *safe);
/* A bar of `cells` columns, filled to `share` of it. */
void term_bar(const screen *sc, text *out, double share, size_t cells);

#endif

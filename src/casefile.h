/* casefile.h: the case of the prompt as text: what a case file holds.
 *
 * Invariant: a case that was loaded is written back with its own layout and
 * comments; only lines that were taken back are cut out, and new ones added
 * at the end.  Other cases of the file stay as they are.
 */
#ifndef CASEFILE_H
#define CASEFILE_H

#include "ringlug.h"
#include "text.h"

#include <stdbool.h>

typedef struct casefile {
    const char *path;       /* NULL: none was named */
    char *bytes;            /* as it was read; NULL: there was no such file */
    size_t length;
    text written;           /* what was last saved to it; nothing: it is as it was read */
    size_t *origin;         /* for each line of the case its line in the file; 0: new */
    size_t lines, room;
    size_t *cut;            /* lines of the file whose statements were taken back */
    size_t cuts;
    bool loaded;            /* the case is the last one of the file */
} casefile;

/* Remembers the lines of a case just loaded from the file (or an empty case). */
void casefile_begin(casefile *f, const rl_case *c);
void casefile_added(casefile *f);
void casefile_withdrawn(casefile *f, size_t index);
void casefile_free(casefile *f);
/* The text of the whole case, by itself. */
void casefile_whole(text *out, const rl_model *model, const rl_case *c);
/* The new text of the file it came from. */
void casefile_update(const casefile *f, text *out, const rl_model *model, const rl_case *c);
/* Whether the file on disk is as it was read or last saved here. */
bool casefile_unchanged(const casefile *f);

#endif

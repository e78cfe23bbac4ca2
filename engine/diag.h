/* diag.h: sources, places in them, and the messages that are said about them.
 *
 * Invariant: every message has a number and a template in messages.def, and
 * its meaning never changes.  A message is handed to the sink as text with a
 * place; nothing here prints.
 */
#ifndef RL_DIAG_H
#define RL_DIAG_H

#include "arena.h"
#include "ringlug.h"

#include <stdbool.h>
#include <stdint.h>

/* A stretch of a source: bytes [begin, end), and where it begins, from 1.
 * Columns count characters (code points), not bytes. */
typedef struct rl_span {
    uint32_t source;
    uint32_t begin, end;
    uint32_t line, column;
} rl_span;

typedef struct rl_source {
    const char *path;    /* as shown to the user */
    const char *text;    /* without byte order mark */
    size_t length;
    uint32_t first_line; /* what its first line is called; 0 means 1 (set after rl_diag_source) */
} rl_source;

typedef enum rl_message {
#define RL_MESSAGE(id, number, severity, text) RL_MSG_##id,
#include "messages.def"
#undef RL_MESSAGE
    RL_MSG_COUNT
} rl_message;

typedef struct rl_diag {
    rl_arena *arena;              /* holds sources and message text while one call lasts */
    const rl_sink *sink;          /* who hears them; may have a NULL function */
    rl_source *sources;
    uint32_t source_count, source_room;
    size_t errors, warnings;
    size_t error_limit;           /* after so many errors no more are said, but "too many errors" once */
} rl_diag;

void rl_diag_init(rl_diag *diag, rl_arena *arena, const rl_sink *sink, size_t error_limit);
/* Registers a source; returns its number. */
uint32_t rl_diag_source(rl_diag *diag, const char *path, const char *text, size_t length);
/* Says message `id` at `at`.  %1 %2 %3 in its template are replaced by the
 * arguments (NUL-terminated, NULL where not used). */
void rl_say(rl_diag *diag, rl_span at, rl_message id, const char *one, const char *two, const char *three);
/* The same, with a second place ("first declared here"). */
void rl_say_also(rl_diag *diag, rl_span at, rl_message id, const char *one, const char *two,
                 const char *three, rl_span other);
/* Whether the error limit has been passed, so that reading on is pointless. */
bool rl_diag_full(const rl_diag *diag);

/* The candidate nearest to `word` by edits (swaps count one), or NULL if none
 * is near enough to be meant.  `count` candidates; ties: the first. */
const char *rl_nearest(const char *word, const char *const *candidates, size_t count);

/* Growing text in an arena, for messages and canonical lines. */
typedef struct rl_text {
    rl_arena *arena;
    char *bytes;      /* always NUL-terminated once something was put */
    size_t length, room;
} rl_text;
void rl_put(rl_text *text, const char *string);
void rl_put_bytes(rl_text *text, const char *bytes, size_t length);
void rl_put_count(rl_text *text, size_t number);
/* Shortest decimal that reads back as the same double; at most `digits`
 * significant digits if digits > 0. */
void rl_put_number(rl_text *text, double number, int digits);

#endif

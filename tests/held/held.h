/* held.h: rule and case files held in memory, and an allocator that counts.
 *
 * Invariant: a shelf outlives every context made of it.  Bytes are handed out
 * as copies of exactly their length, so that a read past the end is seen by a
 * sanitizer.  The pieces taken and not given back are always known.
 */
#ifndef HELD_H
#define HELD_H

#include "ringlug.h"

#include <stdatomic.h>
#include <stddef.h>

enum { HELD_FILES = 8, HELD_TEXT = 512 };

typedef struct held_file {
    const char *path;
    const char *text;
    size_t length;
} held_file;

typedef struct held {
    held_file file[HELD_FILES];
    size_t files;
    atomic_size_t out;         /* pieces taken and not given back; threads may share the shelf */
    atomic_size_t asked;       /* calls of take so far */
    size_t fail_at;            /* the call of take that returns NULL, from 1; 0: none */
    bool fail_on;              /* every later call returns NULL too */
    size_t reading_bound;      /* of contexts made after it is set; 0: as the library has it */
    bool failed;               /* some call did */
    size_t errors, warnings;
    char first_error[HELD_TEXT];
} held;

/* Adds a file; its text stays the caller's.  `held_put_text` takes a NUL-terminated one. */
void held_put(held *shelf, const char *path, const char *text, size_t length);
void held_put_text(held *shelf, const char *path, const char *text);
/* A context that reads from the shelf and counts on it; NULL: no memory. */
rl_context *held_context(held *shelf, size_t memory_bound);

/* The model of `v.gnd`, or the end of the program with the first error shown. */
rl_model *held_model(held *shelf, rl_context *context);
/* An empty case and lines of it, one statement for each line of `text`; ends the program on an error. */
rl_case *held_case(rl_context *context, const rl_model *model, const char *text);
/* Adds the lines of `text`, which have to be accepted. */
void held_say(rl_case *c, const char *text);
/* The element of that name; ends the program if there is none. */
size_t held_element(const rl_model *model, const char *id);
/* 1 - P(sound). */
double held_fault(const rl_answer *answer, size_t element);
/* The test of that text, or NULL. */
const rl_test *held_test(const rl_test *tests, size_t count, const char *text);

#endif

/* given.h: all answers to one case in one shape, from whoever gives them, and
 * the comparison of two.
 *
 * Invariant: everything a `given` points to lives in its arena; given_free is
 * all that is needed.
 */
#ifndef GIVEN_H
#define GIVEN_H

#include "../../engine/arena.h"
#include "../../engine/ringlug.h"

#include <jansson.h>

typedef struct given_test { const char *text; double bits, minutes; } given_test;   /* bits NAN: not said */
typedef struct given_fault { const char *id; rl_state state; } given_fault;
typedef struct given_explanation { double p; size_t count; const given_fault *fault; } given_explanation;

typedef struct given {
    rl_arena arena;
    const char *name;
    bool contradiction;            /* nothing below is set */
    double log_evidence;
    size_t elements;
    const char **id;
    double (*p)[RL_STATES];
    double share[4];               /* return, feed, load, none */
    size_t suspects;
    const char **suspect;
    bool has_tests, has_explanations;
    size_t tests;
    given_test *test;
    size_t explanations;           /* best first, maybe cut after some */
    bool all_explanations;
    given_explanation *explanation;
} given;

/* So many are asked for; a file lists five. */
enum { GIVEN_EXPLANATIONS = 20 };

typedef struct tolerance { double p, log_evidence, share, bits, minutes; } tolerance;

/* Unset but for its arena and its name; the name is copied. */
given *given_new(const char *name);
void given_free(given *g);
given *given_from_json(const json_t *line);

/* NULL: no such test. */
const given_test *given_find(const given *g, const char *text);

/* Says each difference on standard error and returns their number; what one
 * of the two does not have is not compared. */
int given_differences(const given *want, const given *got, tolerance allowed);

/* Every line of a file of JSON lines, in an array; NULL where it cannot be read. */
json_t *given_lines(const char *path);

/* The folders of tests/reference that hold a vehicle, sorted; ends with NULL.  Freed by given_list_free. */
char **given_folders(const char *root);
void given_list_free(char **list);

#endif

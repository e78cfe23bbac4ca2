/* roster.h: the tests of a vehicle that are admissible whatever a case says.
 *
 * They depend on the model alone and are many: made when first asked for, then shared by
 * all its cases.
 *
 * Invariant: a roster is complete before any thread sees it, and is never changed.
 */
#ifndef RL_ROSTER_H
#define RL_ROSTER_H

#include "ringlug.h"
#include "span_key.h"

/* A list of tests that grows; what is listed moves then. */
typedef struct rl_candidates {
    rl_arena *arena;
    rl_test *at;
    int count, room;
} rl_candidates;
/* A further test, all but its text. */
rl_test *rl_candidates_add(rl_candidates *list, rl_test_sort sort, int subject, double check);
/* Its text, from words with a blank between them. */
void rl_candidates_say(const rl_candidates *list, rl_test *test, const char *const *word, int words);

typedef struct rl_roster {
    rl_arena arena;            /* all of it lies there */
    const rl_test *test;       /* all but minutes, bits and ranges; areas as if none were open */
    int tests;                 /* behaviours, symptoms, inspections, then readings load by load */
    rl_span_keys keys;         /* rl_test.measures */
} rl_roster;

/* Where a model keeps its roster. */
typedef struct rl_roster_place rl_roster_place;
rl_roster_place *rl_roster_place_make(rl_arena *arena);
/* Frees the roster that was made, if any; NULL is allowed. */
void rl_roster_free(rl_roster_place *place);

/* The model's roster; where there is no memory for it `arena` bails. */
const rl_roster *rl_roster_of(const rl_model *model, rl_arena *arena);

/* The areas of a reading's two ends, -1: none, or the same as the first. */
void rl_reading_areas(const rl_model *model, int load, int from, int to, int areas[2]);

#endif

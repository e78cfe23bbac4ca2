/* audit.h: what the parts of an audit share (private to audit*.c).
 *
 * Invariant: each part fills its own fields of the report, from the model
 * alone; lists of the report are in the audit's arena.
 */
#ifndef RL_AUDIT_H
#define RL_AUDIT_H

#include "audit_lab.h"
#include "draw.h"

struct rl_audit {
    rl_context *context;
    const rl_model *model;
    rl_model plain;             /* the same without backfeed and pull, whose pairs are too many to be listed */
    rl_arena arena;             /* of the report */
    rl_arena work, scratch;     /* of one part; of one trial */
    rl_case *kase;              /* of the plain model: every load amiss, then an empty occasion */
    rl_case *drawn;             /* what a drawn vehicle shows; NULL but while it is looked at */
    rl_drawn vehicle;           /* the one at hand, for its readings: its states and rows are those drawn here */
    rl_audit_report report;
};

/* A list that grows in an arena. */
typedef struct rl_growing { void *at; size_t count, room; } rl_growing;
/* Room for one more of `size` bytes, zeroed. */
void *rl_grow(rl_arena *arena, rl_growing *list, size_t size);

/* audit_alike.c: faults that are alike, and what is not seen. */
void rl_audit_alike(rl_audit *audit);
/* audit_cross.c: adds backfeeds and pulls to the tests, every load being amiss: of those
 * that show the same one. */
void rl_audit_crosstalk(rl_lab *lab, const rl_model *model, rl_candidates *tests);
/* audit_remedy.c: what would tell a group of faults apart that no admissible test does. */
void rl_audit_remedy(const rl_model *model, rl_alike *group);
/* Members of a group, a sound vehicle the last of them where that belongs to it, and the tests that
 * may tell them apart. */
typedef struct rl_split {
    int members, tests;
    const rl_test *const *test;
    const int *part;           /* [test][member]: below `members`; equal: it comes out alike */
} rl_split;
/* audit_apart.c: the tests to use, in the order of use, and the pairs that stay together. */
void rl_audit_apart(const rl_model *model, rl_arena *arena, rl_arena *scratch, const rl_split *split, rl_alike *group);
/* audit_rows.c: rows of kinds against physics. */
void rl_audit_rows(rl_audit *audit);
/* audit_shape.c: what is not said, and returns that hide each other. */
void rl_audit_shape(rl_audit *audit);
/* audit_bits.c, audit_exact.c: entropies. */
rl_status rl_audit_bits(rl_audit *audit, size_t draws, uint64_t seed);
/* Whether every state and every outcome (of tests that are no readings) can be gone through; then
 * *left is set. */
bool rl_audit_exact(rl_lab *lab, const rl_trial *trial, int trials, double *left);

#endif

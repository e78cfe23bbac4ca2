/* work.h: a case made ready for questions, and what was answered so far.
 *
 * Invariant: what is answered does not depend on the order in which lines came and went, but
 * for rounding.  Work is dropped whenever the lines change, or else goes on from the network of
 * the lines before: the last lines said are then factors more of the same product.
 */
#ifndef RL_WORK_H
#define RL_WORK_H

#include "observe.h"

/* The network of a case's findings, or of some of them. */
typedef struct rl_bench {
    rl_frame frame;
    rl_exprs exprs;
    rl_draft draft;
    rl_draft *whole;            /* of the same lines without a crowd, once it was needed; NULL: not yet */
    rl_observer observer;
    rl_network network;
    rl_plan *plan;
    rl_tree *tree;              /* NULL: too wide, or impossible */
    double log_evidence;
} rl_bench;

/* Builds the network of the lines not left out (NULL: of all); `others` reaches what it
 * did with all of them.  RL_OK; RL_WIDE: the tables would pass the context's bound and were not made; RL_CONTRADICTION: it is 0
 * without any table.  Memory from `arena`, whose bail is set. */
rl_status rl_bench_make(rl_bench *bench, rl_arena *arena, const rl_case *c, const bool *left_out);
/* The same of all lines, without plan and tree; loads that work may be said all at once: such a
 * bench knows the states of all elements, and can be asked nothing more. */
rl_status rl_bench_draw(rl_bench *bench, rl_arena *arena, const rl_case *c);
/* The same as if the lines left out had never been said, with the elements of `keep` as
 * variables of the net. */
rl_status rl_bench_without(rl_bench *bench, rl_arena *arena, const rl_case *c, const bool *left_out, const bool *keep);
/* The same findings again, with the elements of `held` held sound (NULL: none)
 * and those of `keep` as variables of the net (NULL: none).  Paths that were not
 * in use cannot be asked of it. */
rl_status rl_bench_again(rl_bench *fresh, rl_arena *arena, rl_bench *bench, const bool *held, const bool *keep);
/* The same findings, each load saying by itself what it says; no network is made. */
void rl_bench_whole(rl_bench *fresh, rl_arena *arena, rl_bench *bench);
/* The same findings with these weights of the elements' states, and what of them is taken for granted
 * (draft.h), `chosen` being the occasions that are; both must last as long, and `fresh` stay where it is.
 * Planned, without a tree; RL_WIDE: that would pass so many cells. */
rl_status rl_bench_part(rl_bench *fresh, rl_arena *arena, rl_bench *bench, const unsigned char *looseness,
                        double (*state)[RL_STATES], rl_mask chosen, double most_cells);
/* The same findings, with every path in this world (of the last occasion) that
 * the net has telling the last occasion; calibrated. */
rl_status rl_bench_for_tests(rl_bench *fresh, rl_arena *arena, rl_bench *bench, rl_world *world);
/* The same without plan and tree, with the elements of `keep` as variables of the net (NULL: none). */
rl_status rl_bench_draw_for_tests(rl_bench *fresh, rl_arena *arena, rl_bench *bench, rl_world *world, const bool *keep);
/* Says the lines from `known` on to a bench of those before, whose net then has no plan and no tree.
 * False, and the bench is of no use any more, where the network has to be made anew. */
bool rl_bench_extend(rl_bench *bench, int known);
/* Whether a line may be said so. */
bool rl_bench_may_extend(const rl_bench *bench, const rl_finding *line);
/* Plan and tree of the bench's net, as rl_bench_make makes them. */
rl_status rl_bench_plan(rl_bench *bench, rl_arena *arena);
/* The same from those that the net had before it was extended, which stay. */
rl_status rl_bench_grow(rl_bench *bench, rl_arena *arena, const rl_plan *plan, const rl_tree *tree);
/* Upward pass; sets log_evidence.  RL_OK or RL_CONTRADICTION. */
rl_status rl_bench_collect(rl_bench *bench);
/* States' posterior of one element, after rl_tree_distribute. */
void rl_bench_states(rl_bench *bench, rl_arena *arena, int element, double out[RL_STATES]);
/* The same of all elements. */
void rl_bench_beliefs(rl_bench *bench, rl_arena *arena, rl_belief *out);
/* What an element is in the last occasion: a probability for each row of the
 * frame (of a load: sound, failed), after rl_tree_distribute. */
void rl_bench_rows(rl_bench *bench, rl_arena *arena, int element, double *out);
/* Leaves only state `s` of an element that was kept; of one that no other
 * element is joined to, nothing has to be done. */
void rl_bench_restrict(rl_bench *bench, rl_arena *arena, int element, rl_state s);
/* Takes the restriction off again. */
void rl_bench_release(rl_bench *bench, int element);
/* The base expression of an element, or -1 if no finding has used it. */
int rl_bench_base(const rl_bench *bench, int element);
/* Whether some finding speaks of the element. */
bool rl_bench_touches(const rl_bench *bench, int element);

/* P(all are sound | findings) of the groups of rl_shares: returns, feeds, loads, everything; of a
 * bench that was collected.  RL_OK or RL_WIDE. */
rl_status rl_bench_all_sound(rl_bench *bench, rl_arena *arena, double sound[4]);

typedef struct rl_work {
    rl_arena arena;             /* answers, and this */
    rl_mark start;              /* in it: where answers start */
    rl_arena ground;            /* the bench but for its plan and its tree */
    rl_arena passes;            /* these two */
    rl_arena scratch;           /* of one test at a time */
    rl_arena groups;            /* probe.h */
    rl_bench bench;
    int known, replaced;        /* lines that the bench knows, and how many of them were replaced; 0: there is none */
    int extended;               /* how often lines were added to it */
    rl_status status;           /* of the exact answer; RL_OK: the tree is calibrated */
    bool contradicted;          /* `contradicting` was worked out */
    rl_answer answer;
    rl_belief *belief;
    rl_shares shares;
    bool shared_out;            /* `shares` was worked out */
    const size_t *suspects;
    size_t suspect_count;
    const size_t *contradicting;
    size_t contradicting_count;
    const rl_test *tests;       /* the best `test_most` (0: all), NULL: not asked yet */
    size_t test_count, test_most;
    struct rl_best *best;       /* best.c: how far the best tests were looked for; NULL: not yet */
    size_t test_unknown;        /* tests tried that would take too wide a table */
    double test_share;          /* of what the answer holds: what the bits are of */
    struct rl_loose *loose;     /* bounded_loose.h: a net too wide of many occasions; NULL: as with the next */
    struct rl_bounded *bounded; /* bounded.h: the regions of a net too wide; NULL: there was one tree */
} rl_work;

/* The work of a case, made and answered if it is not yet.  Bail is set. */
rl_status rl_work_answer(rl_case *c, rl_work **out);
/* The same, with the suspects listed. */
rl_status rl_work_suspects(rl_case *c, rl_work **out);
void rl_work_drop(rl_case *c);
/* Lines of the case that others have replaced. */
int rl_work_replaced(const rl_case *c);
/* A line was added: answers are dropped, and the network where it cannot be extended. */
void rl_work_outdate(rl_case *c);
/* Runs one question with bails set; memory failure drops the work and gives RL_MEMORY. */
typedef rl_status rl_question(rl_case *c, void *argument);
rl_status rl_ask(rl_case *c, rl_question *question, void *argument);

/* The number without its last dozen bits: what differs by rounding alone is equal. */
double rl_coarse(double p);

/* Whether there is an answer without one tree over everything: another one for each outcome of a test is too dear. */
bool rl_work_parted(const rl_work *work);

/* bounded_loose.c: the same for a case of many occasions. */
rl_status rl_loose_answer(rl_case *c, rl_work *work);
/* bounded.c: the answer from few faults at once, with its bound (design §4). */
rl_status rl_bounded_answer(rl_case *c, rl_work *work);
rl_status rl_bounded_explain(rl_work *work, size_t most, const rl_explanation **list, size_t *count);

#endif

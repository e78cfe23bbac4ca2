/* cover.h: which buckets of a tree tell about some variables (the inference layer).
 *
 * Invariant: the buckets found hang together in each component of the net.  The belief of the
 * top of each, times the laws of all others, is the joint of all variables in their scopes.
 */
#ifndef RL_COVER_H
#define RL_COVER_H

#include "infer_private.h"

typedef struct rl_cover {
    const rl_tree *tree;
    int *active;          /* places still to be joined; the least goes first */
    bool *fresh;          /* asked about, and not yet reached from below */
    int actives;
    int *bucket;          /* those chosen */
    bool *top;
    int buckets;
} rl_cover;

void rl_cover_start(rl_cover *cover, const rl_tree *tree, rl_arena *arena);
/* Asks about the variable of a place, once for each. */
void rl_cover_ask(rl_cover *cover, int place);
/* The smallest set of buckets, by rising place. */
void rl_cover_find(rl_cover *cover);
/* The law of a bucket's variable given its separator; of the top the belief of both: the variable,
 * then the separator as the message has it. */
double *rl_cover_table(const rl_tree *tree, rl_arena *arena, int bucket, bool top);

#endif

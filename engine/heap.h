/* heap.h: what waits in the order of its rank.
 *
 * The rank is the first member of whatever waits, so that what comes out is
 * cast back to it.  The heap owns neither; it holds pointers alone.
 *
 * Invariant: at[0] comes before all others.  Equal ranks leave in an order that
 * depends on how they came in and on nothing else.
 */
#ifndef RL_HEAP_H
#define RL_HEAP_H

#include "arena.h"

#include <stdbool.h>

typedef struct rl_rank {
    double first;               /* the greatest comes out first; never NaN */
    double second;              /* of equals the greatest; never NaN */
    const unsigned char *last;  /* of equals the least by bytes, all equally long; NULL if `length` is 0 */
    size_t length;
} rl_rank;

typedef struct rl_heap {
    rl_rank **at;
    int count, room;
} rl_heap;

bool rl_rank_before(const rl_rank *a, const rl_rank *b);
/* Only `count` and `at` change; the arena is asked before either does. */
void rl_heap_push(rl_heap *heap, rl_arena *arena, rl_rank *rank);
/* The first, taken out; the heap may not be empty. */
rl_rank *rl_heap_pop(rl_heap *heap);

#endif

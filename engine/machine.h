/* machine.h: what counts in each way of a return, found out element by element.
 *
 * The elements are read from the battery toward a load.  What a machine remembers is, for
 * each way, which candidate counts so far: a tuple of codes is a state.  Machines form a tree,
 * as returns do; elements that can bring in the same lead to one machine.
 *
 * Invariant: whatever a span that ends nearer to the load can be in, the whole return can be
 * in too.
 */
#ifndef RL_MACHINE_H
#define RL_MACHINE_H

#include "fold.h"

#include <stdint.h>

/* What counts so far in each way of the return: 0 nothing, RL_CODE_OPEN, or a candidate. */
typedef struct rl_tuple { uint8_t code[RL_MAX_WAYS]; } rl_tuple;
enum { RL_CODE_OPEN = 255 };

/* Whether every one of the ways is open. */
static inline bool rl_tuple_open(const rl_tuple *tuple, uint32_t ways)
{
    for (int w = 0; ways >> w; w++)
        if ((ways >> w & 1u) && tuple->code[w] != RL_CODE_OPEN)
            return false;
    return true;
}

/* An element that is read, or (gate) the return from it on, of which only matters whether it is open. */
typedef struct rl_reading {
    int element;
    bool gate;
    uint32_t ways, all;            /* those that it is in, and all */
} rl_reading;

typedef struct rl_machine {
    rl_reading last;
    struct rl_machine *child, *sibling;
    int codes;
    const rl_candidate *code;      /* [1 .. codes], for a current of 1 A: what is greater is so for any */
    const int *code_of;            /* by row of the last element */
    int states, before;            /* states now, and before it */
    const rl_tuple *state;         /* the first: nothing counts */
    const int *next;               /* [row][state before] */
} rl_machine;

/* Nothing read: one state. */
void rl_machine_start(rl_machine *machine);
/* The machine behind one more element.  NULL: too large. */
rl_machine *rl_machine_behind(rl_machine *before, rl_arena *arena, rl_arena *scratch, const rl_frame *frame,
                              const rl_reading *reading);

#endif

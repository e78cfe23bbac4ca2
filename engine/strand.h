/* strand.h: the elements of a load's return in one order that all its ways keep.
 *
 * Invariant: the load's wire stands first; whatever a span holds is a run of the strand's
 * elements, and what of them lies on a way is a run of the way's.
 */
#ifndef RL_STRAND_H
#define RL_STRAND_H

#include "model.h"

#include <stdint.h>

enum { RL_STRAND_MOST = 64 };

typedef struct rl_strand {
    int count, element[RL_STRAND_MOST + 1];     /* one more where a span may end before it */
    bool beyond;                              /* there is one more */
    rl_stretch whole;                         /* from the wire to the end of the strand */
    uint32_t all, in[RL_STRAND_MOST];           /* the ways there are, and those that each element is in */
    int *start[RL_MAX_WAYS];                  /* by way, by element: how many of the way's stand before it */
} rl_strand;

/* False: no one order serves all ways, or a connector is met twice. */
bool rl_strand_make(rl_strand *strand, rl_arena *arena, const rl_model *model, int load);
/* Where an element stands, or -1. */
int rl_strand_place(const rl_strand *strand, int element);
/* The part of a way that lies in the elements from `first` to before `end`. */
rl_way rl_strand_part(const rl_strand *strand, int way, int first, int end);

#endif

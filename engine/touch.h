/* touch.h: which elements one line of a case reaches.
 *
 * Invariant: flags are those of rl_model_flags, and only ever set.
 */
#ifndef RL_TOUCH_H
#define RL_TOUCH_H

#include "model.h"

/* Scratch memory is taken from `arena` and given back. */
void rl_touch_line(rl_arena *arena, const rl_case *c, const rl_finding *line, bool *flag);

#endif

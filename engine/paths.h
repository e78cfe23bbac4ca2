/* paths.h: marking what a load depends on.
 *
 * Invariant: marks are only ever set, never cleared, so that several loads
 * may be marked into one array (one flag for each element).
 */
#ifndef RL_PATHS_H
#define RL_PATHS_H

#include "model.h"

/* All elements on some return path of `element` (a load: of its wire), itself included. */
void rl_mark_returns(const rl_model *model, int element, bool *mark);
/* All that a behaviour of `load` depends on: itself, its returns, its feeds and
 * their connectors, the coils that operate them and what these depend on.
 * Scratch memory is taken from `arena` and given back. */
void rl_mark_load(rl_arena *arena, const rl_model *model, int load, bool *mark);
/* The same without its returns. */
void rl_mark_feeds(rl_arena *arena, const rl_model *model, int load, bool *mark);

#endif

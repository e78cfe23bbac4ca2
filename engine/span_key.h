/* span_key.h: numbers for the sets of elements that spans measure.
 *
 * Invariant: equal sets have equal numbers, from 1 up.
 */
#ifndef RL_SPAN_KEY_H
#define RL_SPAN_KEY_H

#include "model.h"

typedef struct rl_span_set { int count; const int *element; unsigned marks; } rl_span_set;
typedef struct rl_span_keys {
    rl_arena *arena;
    rl_span_set *set;      /* [1 .. sets] */
    size_t sets, room;
    size_t *slot;          /* hash table, 0 empty */
    size_t slots;
} rl_span_keys;

void rl_span_keys_make(rl_span_keys *keys, rl_arena *arena);
size_t rl_span_key(rl_span_keys *keys, const rl_stretch *stretch);
/* The same of a set that is there; 0: it is not. */
size_t rl_span_find(const rl_span_keys *keys, rl_arena *scratch, const rl_stretch *stretch);
/* Sets a mark (one bit) on a key; false if it was set already. */
bool rl_span_mark(rl_span_keys *keys, size_t key, unsigned mark);
/* Whether every element of the span has both its laws. */
bool rl_span_has_laws(const rl_model *model, const rl_stretch *stretch);

#endif

/* arena.h: memory that is taken piece by piece and given back all at once.
 *
 * Invariant: every byte the engine and the grammar use lives in an arena, so
 * nothing has to be freed on the way out of an error.  rl_arena_get never
 * returns NULL: when memory or the arena's limit runs out it jumps to the
 * place that rl_arena_bail named, which is always the public function that
 * was called.  That function frees or rewinds the arena and returns a status.
 */
#ifndef RL_ARENA_H
#define RL_ARENA_H

#include <setjmp.h>
#include <stddef.h>

/* Where memory comes from.  `take` returns NULL when there is none. */
typedef struct rl_allocator {
    void *(*take)(void *user, size_t size);
    void (*give)(void *user, void *piece);
    void *user;
} rl_allocator;

typedef struct rl_chunk rl_chunk;

typedef struct rl_arena {
    rl_allocator allocator;
    rl_chunk *chunk;   /* newest first */
    rl_chunk *spare;   /* what rewinds gave back, for the next need */
    size_t used;       /* bytes of the chunks in use */
    size_t limit;      /* 0: none */
    jmp_buf *bail;     /* where to go when memory runs out */
} rl_arena;

typedef struct rl_mark {
    rl_chunk *chunk;
    size_t filled;
} rl_mark;

void rl_arena_init(rl_arena *arena, const rl_allocator *allocator, size_t limit);
void rl_arena_free(rl_arena *arena);

/* `size` zeroed bytes, aligned for any type.  Never NULL; jumps to `bail`. */
void *rl_arena_get(rl_arena *arena, size_t size);
/* The same for count * size, with the product checked for overflow. */
void *rl_arena_array(rl_arena *arena, size_t count, size_t size);
/* As rl_arena_get, but not zeroed. */
void *rl_arena_raw(rl_arena *arena, size_t size);
/* A NUL-terminated copy of `length` bytes. */
char *rl_arena_copy(rl_arena *arena, const char *bytes, size_t length);

/* All that was taken after the mark is given back by rl_arena_rewind. */
rl_mark rl_arena_mark(const rl_arena *arena);
void rl_arena_rewind(rl_arena *arena, rl_mark mark);

/* rl_new(arena, T): one zeroed T.  rl_many(arena, n, T): n of them. */
#define rl_new(arena, T) ((T *)rl_arena_get((arena), sizeof(T)))
#define rl_many(arena, n, T) ((T *)rl_arena_array((arena), (size_t)(n), sizeof(T)))
/* The same, not zeroed: for what is written whole at once. */
#define rl_raw(arena, n, T) ((T *)rl_arena_raw((arena), (size_t)(n) * sizeof(T)))

#endif

/* arena.c: chunks of memory, newest first.
 *
 * Invariant: within a chunk, bytes [0, filled) are in use; only the newest
 * chunk is filled further, so that a mark (chunk, filled) says exactly what
 * was taken before it.
 */
#include "arena.h"

#include <assert.h>
#include <stdalign.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

struct rl_chunk {
    rl_chunk *older;
    size_t room;     /* bytes behind the head */
    size_t filled;
};

enum { ALIGN = alignof(max_align_t) };
#define HEAD ((sizeof(rl_chunk) + ALIGN - 1) / ALIGN * ALIGN)

/* Chunks grow with the arena, so that a small case stays small and a large
 * model asks the allocator seldom. */
enum { LEAST_CHUNK = 1 << 12, MOST_CHUNK = 1 << 20 };

void rl_arena_init(rl_arena *arena, const rl_allocator *allocator, size_t limit)
{
    assert(allocator->take != NULL && allocator->give != NULL);
    *arena = (rl_arena){.allocator = *allocator, .limit = limit};
}

static void give_list(rl_arena *arena, rl_chunk **list)
{
    while (*list != NULL) {
        rl_chunk *chunk = *list;
        *list = chunk->older;
        arena->allocator.give(arena->allocator.user, chunk);
    }
}

/* What is rewound is soon wanted again: it is kept at hand. */
static void put_aside(rl_arena *arena)
{
    rl_chunk *chunk = arena->chunk;
    assert(arena->used >= HEAD + chunk->room);
    arena->used -= HEAD + chunk->room;
    arena->chunk = chunk->older;
    chunk->older = arena->spare;
    arena->spare = chunk;
}

void rl_arena_free(rl_arena *arena)
{
    give_list(arena, &arena->chunk);
    give_list(arena, &arena->spare);
    arena->used = 0;
}

static _Noreturn void give_up(rl_arena *arena)
{
    assert(arena->bail != NULL);
    longjmp(*arena->bail, 1);
}

static size_t fitting_room(const rl_arena *arena, size_t needed)
{
    size_t room = arena->used;
    if (room < LEAST_CHUNK)
        room = LEAST_CHUNK;
    if (room > MOST_CHUNK)
        room = MOST_CHUNK;
    room -= HEAD;
    if (room < needed)
        room = needed;
    /* Close to the limit only what is needed is taken. */
    if (arena->limit != 0 && room > needed && arena->used + HEAD + room > arena->limit)
        room = needed;
    return room;
}

/* The first chunk put aside that has the room becomes the newest. */
static bool take_spare(rl_arena *arena, size_t needed)
{
    rl_chunk **link = &arena->spare;
    while (*link != NULL && (*link)->room < needed)
        link = &(*link)->older;
    rl_chunk *chunk = *link;
    if (chunk == NULL)
        return false;
    if (arena->limit != 0 && arena->used > arena->limit - (HEAD + chunk->room))
        return false;
    *link = chunk->older;
    *chunk = (rl_chunk){.older = arena->chunk, .room = chunk->room};
    arena->chunk = chunk;
    arena->used += HEAD + chunk->room;
    return true;
}

static void add_chunk(rl_arena *arena, size_t needed)
{
    if (take_spare(arena, needed))
        return;
    give_list(arena, &arena->spare);   /* too small, all of them */
    if (needed > SIZE_MAX / 2 - arena->used - HEAD)
        give_up(arena);
    size_t room = fitting_room(arena, needed);
    size_t whole = HEAD + room;
    if (arena->limit != 0 && (whole > arena->limit || arena->used > arena->limit - whole))
        give_up(arena);
    rl_chunk *chunk = arena->allocator.take(arena->allocator.user, whole);
    if (chunk == NULL)
        give_up(arena);
    *chunk = (rl_chunk){.older = arena->chunk, .room = room};
    arena->chunk = chunk;
    arena->used += whole;
}

void *rl_arena_raw(rl_arena *arena, size_t size)
{
    if (size > SIZE_MAX / 4)
        give_up(arena);
    size_t whole = (size + (size == 0) + ALIGN - 1) / ALIGN * ALIGN;
    if (arena->chunk == NULL || arena->chunk->room - arena->chunk->filled < whole)
        add_chunk(arena, whole);
    rl_chunk *chunk = arena->chunk;
    void *piece = (char *)chunk + HEAD + chunk->filled;
    chunk->filled += whole;
    assert(chunk->filled <= chunk->room);
    return piece;
}

void *rl_arena_get(rl_arena *arena, size_t size)
{
    return memset(rl_arena_raw(arena, size), 0, size);
}

void *rl_arena_array(rl_arena *arena, size_t count, size_t size)
{
    if (size != 0 && count > SIZE_MAX / size)
        give_up(arena);
    return rl_arena_get(arena, count * size);
}

char *rl_arena_copy(rl_arena *arena, const char *bytes, size_t length)
{
    if (length == SIZE_MAX)
        give_up(arena);
    char *copy = rl_arena_raw(arena, length + 1);
    if (length > 0)
        memcpy(copy, bytes, length);
    copy[length] = '\0';
    return copy;
}

rl_mark rl_arena_mark(const rl_arena *arena)
{
    return (rl_mark){
        .chunk = arena->chunk,
        .filled = arena->chunk == NULL ? 0 : arena->chunk->filled,
    };
}

void rl_arena_rewind(rl_arena *arena, rl_mark mark)
{
    while (arena->chunk != mark.chunk) {
        assert(arena->chunk != NULL);  /* a mark of this arena, not yet rewound past */
        put_aside(arena);
    }
    if (mark.chunk == NULL) {
        give_list(arena, &arena->spare);
        return;
    }
    assert(mark.filled <= mark.chunk->filled);
    mark.chunk->filled = mark.filled;
}

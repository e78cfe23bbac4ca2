/* heap.c: a binary heap of ranks.  Invariant: see heap.h. */
#include "heap.h"

#include <assert.h>
#include <limits.h>
#include <string.h>

enum { FIRST_ROOM = 64 };

bool rl_rank_before(const rl_rank *a, const rl_rank *b)
{
    if (a->first > b->first || a->first < b->first)
        return a->first > b->first;
    if (a->second > b->second || a->second < b->second)
        return a->second > b->second;
    assert(a->length == b->length);
    return a->length > 0 && memcmp(a->last, b->last, a->length) < 0;
}

static void swap_places(rl_heap *heap, int i, int j)
{
    rl_rank *rank = heap->at[i];
    heap->at[i] = heap->at[j];
    heap->at[j] = rank;
}

static void make_room(rl_heap *heap, rl_arena *arena)
{
    if (heap->count < heap->room)
        return;
    assert(heap->room <= INT_MAX / 2);
    int room = heap->room > 0 ? heap->room * 2 : FIRST_ROOM;
    rl_rank **more = rl_many(arena, room, rl_rank *);
    for (int i = 0; i < heap->count; i++)
        more[i] = heap->at[i];
    heap->at = more;
    heap->room = room;
}

void rl_heap_push(rl_heap *heap, rl_arena *arena, rl_rank *rank)
{
    make_room(heap, arena);
    int i = heap->count++;
    heap->at[i] = rank;
    for (; i > 0 && rl_rank_before(heap->at[i], heap->at[(i - 1) / 2]); i = (i - 1) / 2)
        swap_places(heap, i, (i - 1) / 2);
}

rl_rank *rl_heap_pop(rl_heap *heap)
{
    assert(heap->count > 0);
    rl_rank *first = heap->at[0];
    heap->at[0] = heap->at[--heap->count];
    for (int i = 0, child = 1; child < heap->count; child = 2 * i + 1) {
        if (child + 1 < heap->count && rl_rank_before(heap->at[child + 1], heap->at[child]))
            child++;
        if (!rl_rank_before(heap->at[child], heap->at[i]))
            break;
        swap_places(heap, i, child);
        i = child;
    }
    return first;
}

/* span_key.c: see span_key.h. */
#include "span_key.h"

#include <assert.h>
#include <string.h>

enum { FIRST_SLOTS = 1024 };

void rl_span_keys_make(rl_span_keys *keys, rl_arena *arena)
{
    *keys = (rl_span_keys){.arena = arena, .room = FIRST_SLOTS / 2, .slots = FIRST_SLOTS};
    keys->set = rl_many(arena, keys->room + 1, rl_span_set);
    keys->slot = rl_many(arena, keys->slots, size_t);
}

/* The elements of all ways, ascending, each once. */
static rl_span_set set_of(rl_arena *arena, const rl_stretch *stretch)
{
    int room = 0, count = 0;
    for (int w = 0; w < stretch->ways; w++)
        room += stretch->way[w].count;
    int *list = rl_many(arena, room, int);
    for (int w = 0; w < stretch->ways; w++)
        for (int i = 0; i < stretch->way[w].count; i++) {
            int e = stretch->way[w].element[i], at = count;
            while (at > 0 && list[at - 1] > e)
                at--;
            if (at > 0 && list[at - 1] == e)
                continue;
            memmove(&list[at + 1], &list[at], (size_t)(count - at) * sizeof *list);
            list[at] = e;
            count++;
        }
    return (rl_span_set){count, list, 0};
}

static size_t hash_of(const rl_span_set *set)
{
    size_t h = 1469598103u;
    for (int i = 0; i < set->count; i++)
        h = (h ^ (size_t)set->element[i]) * 1099511628211u;
    return h ^ (h >> 29);
}

static bool same_set(const rl_span_set *a, const rl_span_set *b)
{
    return a->count == b->count && memcmp(a->element, b->element, (size_t)a->count * sizeof(int)) == 0;
}

static void grow(rl_span_keys *keys)
{
    rl_span_set *set = rl_many(keys->arena, keys->room * 2 + 1, rl_span_set);
    memcpy(set, keys->set, (keys->sets + 1) * sizeof *set);
    keys->set = set;
    keys->room *= 2;
    keys->slots *= 2;
    keys->slot = rl_many(keys->arena, keys->slots, size_t);
    for (size_t k = 1; k <= keys->sets; k++) {
        size_t h = hash_of(&keys->set[k]) & (keys->slots - 1);
        while (keys->slot[h])
            h = (h + 1) & (keys->slots - 1);
        keys->slot[h] = k;
    }
}

/* Where the set stands, or would. */
static size_t *slot_of(const rl_span_keys *keys, const rl_span_set *set)
{
    size_t h = hash_of(set) & (keys->slots - 1);
    while (keys->slot[h] && !same_set(&keys->set[keys->slot[h]], set))
        h = (h + 1) & (keys->slots - 1);
    return &keys->slot[h];
}

size_t rl_span_key(rl_span_keys *keys, const rl_stretch *stretch)
{
    if (keys->sets == keys->room)
        grow(keys);
    rl_mark mark = rl_arena_mark(keys->arena);
    rl_span_set set = set_of(keys->arena, stretch);
    size_t *slot = slot_of(keys, &set);
    if (*slot) {
        rl_arena_rewind(keys->arena, mark);
        return *slot;
    }
    keys->set[++keys->sets] = set;
    return *slot = keys->sets;
}

size_t rl_span_find(const rl_span_keys *keys, rl_arena *scratch, const rl_stretch *stretch)
{
    rl_mark mark = rl_arena_mark(scratch);
    rl_span_set set = set_of(scratch, stretch);
    size_t key = *slot_of(keys, &set);
    rl_arena_rewind(scratch, mark);
    return key;
}

bool rl_span_mark(rl_span_keys *keys, size_t key, unsigned mark)
{
    assert(key >= 1 && key <= keys->sets);
    bool fresh = !(keys->set[key].marks & mark);
    keys->set[key].marks |= mark;
    return fresh;
}

bool rl_span_has_laws(const rl_model *model, const rl_stretch *stretch)
{
    for (int w = 0; w < stretch->ways; w++)
        for (int i = 0; i < stretch->way[w].count; i++) {
            const rl_node *node = &model->node[stretch->way[w].element[i]];
            if (node->sound.median <= 0 || node->corroded.median <= 0)
                return false;
        }
    return true;
}

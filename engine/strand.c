/* strand.c: see strand.h.
 *
 * Invariant: a way's elements stand in the strand in the way's own order.
 */
#include "strand.h"

#include <string.h>

int rl_strand_place(const rl_strand *strand, int element)
{
    for (int i = 0; i < strand->count + strand->beyond; i++)
        if (strand->element[i] == element)
            return i;
    return -1;
}

static void insert_element(rl_strand *strand, int at, int element)
{
    memmove(&strand->element[at + 1], &strand->element[at], (size_t)(strand->count - at) * sizeof strand->element[0]);
    strand->element[at] = element;
    strand->count++;
}

/* A way's new elements go behind the one before; false: no one order serves all ways. */
static bool merge_way(rl_strand *strand, const rl_way *way)
{
    int before = -1;
    for (int i = 0; i < way->count; i++) {
        int at = rl_strand_place(strand, way->element[i]);
        if (at < 0) {
            if (strand->count == RL_STRAND_MOST)
                return false;
            at = before + 1;
            insert_element(strand, at, way->element[i]);
        } else if (at <= before) {
            return false;
        }
        before = at;
    }
    return true;
}

/* The longest stretch from the wire that has few enough ways. */
static bool find_whole(rl_strand *strand, rl_arena *arena, const rl_model *model, int load)
{
    const rl_node *node = &model->node[load];
    for (int i = node->on_every_count; i > 0; i--) {
        int to = i < node->on_every_count ? node->on_every[i] : -1;
        rl_mark mark = rl_arena_mark(arena);
        if (rl_stretch_make(arena, model, load, -1, to, false, &strand->whole) == RL_STRETCH_OK) {
            bool good = true;
            for (int w = 0; w < strand->whole.ways && good; w++)
                good = merge_way(strand, &strand->whole.way[w]);
            if (good)
                strand->element[strand->count] = to;
            strand->beyond = to >= 0;
            return good;
        }
        rl_arena_rewind(arena, mark);
    }
    return false;
}

/* Which ways each element is in, and where each way stands at it. */
static void set_ways(rl_strand *strand, rl_arena *arena)
{
    strand->all = (uint32_t)((1ull << strand->whole.ways) - 1);
    for (int w = 0; w < strand->whole.ways; w++) {
        const rl_way *way = &strand->whole.way[w];
        strand->start[w] = rl_raw(arena, strand->count + 1, int);
        for (int i = 0, n = 0; i <= strand->count; i++) {
            strand->start[w][i] = n;
            if (i < strand->count && n < way->count && way->element[n] == strand->element[i]) {
                strand->in[i] |= 1u << w;
                n++;
            }
        }
    }
}

/* Whether an element names a connector of the strand that another element names too. */
static bool meets_twice(const rl_strand *strand, const rl_node *node, int *named_by, int element)
{
    for (int w = 0; w < node->way_count; w++)
        for (int v = 0; v < node->way[w].via_count; v++) {
            int place = rl_strand_place(strand, node->way[w].via[v]);
            if (place >= 0 && named_by[place] > 0 && named_by[place] != element + 1)
                return true;
            if (place >= 0)
                named_by[place] = element + 1;
        }
    return false;
}

/* Whether what lies from each element on to the battery is what the strand has behind it. */
static bool is_plain(const rl_strand *strand, const rl_model *model)
{
    int named_by[RL_STRAND_MOST + 1] = {0};
    for (int i = 0; i < strand->count; i++)
        if (meets_twice(strand, &model->node[strand->element[i]], named_by, strand->element[i]))
            return false;
    return true;
}

bool rl_strand_make(rl_strand *strand, rl_arena *arena, const rl_model *model, int load)
{
    *strand = (rl_strand){.count = 0};
    if (!find_whole(strand, arena, model, load) || !is_plain(strand, model))
        return false;
    set_ways(strand, arena);
    return true;
}

rl_way rl_strand_part(const rl_strand *strand, int way, int first, int end)
{
    const rl_way *whole = &strand->whole.way[way];
    int from = strand->start[way][first];
    return (rl_way){strand->start[way][end] - from, &whole->element[from], &whole->conductor[from]};
}

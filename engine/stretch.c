/* stretch.c: the span of a reading (design §3), as ways of elements and conductors.
 *
 * Invariant: an element stands in one way once, where it is first met, and a
 * way holds nothing that was met before `from`.  At most RL_MAX_WAYS ways are
 * ever walked.
 */
#include "model.h"

#include <assert.h>
#include <string.h>

/* Where a walk stands: at an element, or (via >= 0) at a connector behind it. */
typedef struct position { int element, alternative, via; } position;

typedef struct stretcher {
    rl_arena *arena;
    const rl_model *model;
    int to;
    const int *before;
    int before_count;
    position start;
    int *choice, choices, choice_room;   /* the alternative taken at each fork of the way at hand */
    int *element, count, room;           /* the way at hand */
    double *conductor;
} stretcher;

static bool among(const int *list, int count, int element)
{
    for (int i = 0; i < count; i++)
        if (list[i] == element)
            return true;
    return false;
}

static void *doubled(rl_arena *arena, const void *old, int count, int room, size_t size)
{
    char *more = rl_arena_array(arena, (size_t)room, size);
    if (count > 0)
        memcpy(more, old, (size_t)count * size);
    return more;
}

static void put(stretcher *s, int element, double conductor)
{
    if (s->count == s->room) {
        s->room = s->room ? 2 * s->room : 16;
        s->element = doubled(s->arena, s->element, s->count, s->room, sizeof *s->element);
        s->conductor = doubled(s->arena, s->conductor, s->count, s->room, sizeof *s->conductor);
    }
    s->element[s->count] = element;
    s->conductor[s->count++] = conductor;
}

/* Only a connector can be met twice. */
static void put_connector(stretcher *s, int connector)
{
    if (!among(s->before, s->before_count, connector) && !among(s->element, s->count, connector))
        put(s, connector, 0);
}

/* The alternative to take at the next fork of the way, the first if none was set. */
static int choose(stretcher *s, int fork)
{
    if (fork == s->choices) {
        if (s->choices == s->choice_room) {
            s->choice_room = s->choice_room ? 2 * s->choice_room : 8;
            s->choice = doubled(s->arena, s->choice, s->choices, s->choice_room, sizeof *s->choice);
        }
        s->choice[s->choices++] = 0;
    }
    return s->choice[fork];
}

/* Connectors of the alternative, from `via` on.  False: the end was met. */
static bool walk_connectors(stretcher *s, const rl_alternative *way, int via)
{
    for (; via < way->via_count; via++) {
        if (way->via[via] == s->to)
            return false;
        put_connector(s, way->via[via]);
    }
    return true;
}

/* Walks one way from the start to the end of the span. */
static void walk(stretcher *s)
{
    const rl_node *node = s->model->node;
    int at = s->start.element, fork = 0;
    s->count = 0;
    if (s->start.via >= 0) {
        const rl_alternative *way = &node[at].way[s->start.alternative];
        if (!walk_connectors(s, way, s->start.via))
            return;
        at = way->parent;
    }
    while (at >= 0 && at != s->to) {
        int taken = node[at].way_count > 1 ? choose(s, fork++) : 0;
        const rl_alternative *way = taken < node[at].way_count ? &node[at].way[taken] : NULL;
        put(s, at, way ? way->conductor : 0);
        if (way && !walk_connectors(s, way, 0))
            return;
        at = way ? way->parent : -1;
    }
}

/* The fork that stands at place `fork` of the way at hand has how many alternatives? */
static int alternatives(const stretcher *s, int fork)
{
    const rl_node *node = s->model->node;
    int at = s->start.via >= 0 ? node[s->start.element].way[s->start.alternative].parent : s->start.element;
    for (int seen = 0;; ) {
        assert(at >= 0 && node[at].way_count > 0);
        int taken = 0;
        if (node[at].way_count > 1) {
            if (seen == fork)
                return node[at].way_count;
            taken = s->choice[seen++];
        }
        at = node[at].way[taken].parent;
    }
}

/* Sets the choices for the next way; false when there is none. */
static bool next_way(stretcher *s)
{
    while (s->choices > 0) {
        int last = s->choices - 1;
        if (++s->choice[last] < alternatives(s, last))
            return true;
        s->choices--;
    }
    return false;
}

static rl_way keep_way(const stretcher *s)
{
    int *element = rl_many(s->arena, s->count, int);
    double *conductor = rl_many(s->arena, s->count, double);
    memcpy(element, s->element, (size_t)s->count * sizeof *element);
    memcpy(conductor, s->conductor, (size_t)s->count * sizeof *conductor);
    return (rl_way){ s->count, element, conductor };
}

/* The one chain from the load to `from`: what stands before it, and where it is. */
static rl_stretch_fault find_start(stretcher *s, int load, int from)
{
    const rl_node *node = s->model->node;
    int at = node[load].info.wire;
    while (at != from) {
        if (at == s->to)
            return RL_STRETCH_ORDER;
        if (node[at].way_count > 1)
            return RL_STRETCH_FORK;
        assert(node[at].way_count == 1);
        const rl_alternative *way = &node[at].way[0];
        put(s, at, 0);
        for (int via = 0; via < way->via_count; via++) {
            s->start = (position){ at, 0, via };
            if (way->via[via] == from)
                return RL_STRETCH_OK;
            if (way->via[via] == s->to)
                return RL_STRETCH_ORDER;
            put_connector(s, way->via[via]);
        }
        at = way->parent;
        assert(at >= 0);
    }
    s->start = (position){ at, 0, -1 };
    return RL_STRETCH_OK;
}

static rl_stretch_fault walk_all(stretcher *s, rl_stretch *out)
{
    rl_way *way = rl_many(s->arena, RL_MAX_WAYS, rl_way);
    do {
        if (out->ways == RL_MAX_WAYS)
            return RL_STRETCH_WAYS;
        walk(s);
        way[out->ways++] = keep_way(s);
    } while (next_way(s));
    out->way = way;
    return RL_STRETCH_OK;
}

rl_stretch_fault rl_stretch_make(rl_arena *arena, const rl_model *model, int load, int from, int to,
                                 bool dead, rl_stretch *out)
{
    *out = (rl_stretch){ .to = -1 };
    if (from >= 0 && !rl_on_every(model, load, from))
        return RL_STRETCH_FROM;
    if (to >= 0 && !rl_on_every(model, load, to))
        return RL_STRETCH_TO;
    if (from < 0)
        from = model->node[load].info.wire;
    if (to < 0 && dead) {
        to = rl_last_element(model, load);
        if (to < 0)
            return RL_STRETCH_END;
    }
    if (from == to)
        return RL_STRETCH_ORDER;
    stretcher s = { .arena = arena, .model = model, .to = to };
    rl_stretch_fault fault = find_start(&s, load, from);
    if (fault != RL_STRETCH_OK)
        return fault;
    s.before = out->before = s.element;
    s.before_count = out->before_count = s.count;
    s.element = NULL;
    s.conductor = NULL;
    s.count = s.room = 0;
    out->to = to;
    return walk_all(&s, out);
}

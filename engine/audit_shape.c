/* audit_shape.c: what is not said of loads and conductors, and returns by
 * several ways that hide each other.
 *
 * Invariant: an alternative is said never to count only where that is so
 * whatever else is at fault.
 */
#include "audit.h"

#include "span_key.h"

#include <assert.h>

typedef struct shaper {
    rl_audit *audit;
    const rl_model *model;
    rl_growing gaps, covers;
    bool *bare;                /* by element: said to lack a conductor */
} shaper;

static void add_gap(shaper *s, rl_gap_sort sort, int element, int parent)
{
    assert(sort == RL_GAP_BY || parent < 0);
    rl_gap *gap = rl_grow(&s->audit->arena, &s->gaps, sizeof *gap);
    *gap = (rl_gap){sort, (size_t)element, parent};
}

/* ---- loads of unknown current ---- */

static bool needs_current(const rl_behaviour *kind)
{
    return kind->shortfalls > 0 && (!kind->row[0][RL_CORRODED] || !kind->row[1][RL_CORRODED]);
}

static void check_current(shaper *s, int load)
{
    const rl_element *info = &s->model->node[load].info;
    if (info->current > 0)
        return;
    if (needs_current(&s->model->kind[info->kind]))
        add_gap(s, RL_GAP_CURRENT, load, -1);
    if (s->model->volts.given)
        add_gap(s, RL_GAP_READINGS, load, -1);
}

/* ---- conductors ---- */

/* The alternatives of an element whose conductor is not said, once for each element. */
static void check_ways(shaper *s, int element)
{
    const rl_node *node = &s->model->node[element];
    if (s->bare[element])
        return;
    for (int w = 0; w < node->way_count; w++)
        if (node->way[w].conductor <= 0 && node->way[w].parent >= 0) {
            s->bare[element] = true;
            add_gap(s, RL_GAP_BY, element, node->way[w].parent);
        }
}

/* The longest drop that a load admits passes all that its readings do. */
static void check_spans(shaper *s, int load)
{
    rl_stretch stretch;
    rl_mark before = rl_arena_mark(&s->audit->scratch);
    if (rl_stretch_make(&s->audit->scratch, s->model, load, -1, -1, false, &stretch) == RL_STRETCH_OK &&
        rl_span_has_laws(s->model, &stretch))
        for (int w = 0; w < stretch.ways; w++)
            for (int i = 0; i < stretch.way[w].count; i++)
                check_ways(s, stretch.way[w].element[i]);
    rl_arena_rewind(&s->audit->scratch, before);
}

static void check_load(shaper *s, int load)
{
    const rl_model *m = s->model;
    bool live = m->volts.given && m->node[load].info.current > 0;
    check_current(s, load);
    if (live || m->ohms.given || m->beeper.given)
        check_spans(s, load);
}

/* ---- or ---- */

static bool among(const int *list, int count, int element)
{
    for (int i = 0; i < count; i++)
        if (list[i] == element)
            return true;
    return false;
}

static bool way_names(const rl_alternative *way, int through)
{
    return way->parent == through || among(way->via, way->via_count, through);
}

/* Whether every alternative of an element names another as its next step or a connector before it. */
static bool all_name(const rl_node *node, int through)
{
    for (int w = 0; w < node->way_count; w++)
        if (!way_names(&node->way[w], through))
            return false;
    return node->way_count > 0;
}

/* Whether this way to the battery passes an element, whatever is taken at the
 * forks behind it.  A fork is stepped over to where its ways meet: what all
 * of them pass only deep inside is not found. */
static bool way_passes(const rl_model *m, const rl_alternative *way, int through)
{
    if (way_names(way, through))
        return true;
    for (int at = way->parent; at >= 0;) {
        const rl_node *node = &m->node[at];
        if (at == through || all_name(node, through))
            return true;
        at = node->way_count > 1 ? node->join : node->way_count == 1 ? node->way[0].parent : -1;
    }
    return false;
}

/* Whether `good` can be no worse than `bad`: all that it passes first is on `bad` for certain. */
static bool never_worse(const rl_model *m, const rl_alternative *good, const rl_alternative *bad)
{
    for (int i = 0; i < good->via_count; i++)
        if (!way_passes(m, bad, good->via[i]))
            return false;
    return good->parent < 0 || way_passes(m, bad, good->parent);
}

/* An alternative that is never worse than alternative `which`, of twins the
 * first; -1: none, so that it counts. */
static int better_way(const rl_model *m, const rl_node *node, int which)
{
    for (int beside = 0; beside < node->way_count; beside++) {
        if (beside == which || !never_worse(m, &node->way[beside], &node->way[which]))
            continue;
        if (beside < which || !never_worse(m, &node->way[which], &node->way[beside]))
            return beside;
    }
    return -1;
}

/* Where only one way counts, it shows all its faults: nothing hides them. */
static void check_fork(shaper *s, int element)
{
    const rl_node *node = &s->model->node[element];
    assert(node->way_count > 1);
    int *better = rl_many(&s->audit->work, node->way_count, int), counting = 0, other = -1;
    for (int w = 0; w < node->way_count; w++) {
        better[w] = better_way(s->model, node, w);
        counting += better[w] < 0;
    }
    for (int w = 0; w < node->way_count; w++) {
        if (better[w] < 0 && counting < 2)
            continue;
        for (int k = node->way_count; k-- > 0;)
            other = better[k] < 0 && k != w ? k : other;
        rl_cover *cover = rl_grow(&s->audit->arena, &s->covers, sizeof *cover);
        *cover = (rl_cover){(size_t)element, (size_t)w, (size_t)(better[w] >= 0 ? better[w] : other), better[w] >= 0};
    }
}

void rl_audit_shape(rl_audit *audit)
{
    const rl_model *m = audit->model;
    rl_mark before = rl_arena_mark(&audit->work);
    shaper s = {.audit = audit, .model = m};
    s.bare = rl_many(&audit->work, m->nodes, bool);
    for (int e = 0; e < m->nodes; e++) {
        if (m->node[e].info.sort == RL_LOAD)
            check_load(&s, e);
        else if (m->node[e].info.sort != RL_FEED && m->node[e].way_count > 1)
            check_fork(&s, e);
    }
    audit->report.gap = s.gaps.at;
    audit->report.gaps = s.gaps.count;
    audit->report.cover = s.covers.at;
    audit->report.covers = s.covers.count;
    rl_arena_rewind(&audit->work, before);
}

/* audit_remedy.c: what the rules would need to tell faults of a group apart.
 *
 * Invariant: what is said to be missing is missing: no load returns (is fed)
 * through the one and not through the other; no inspection reaches an element.
 */
#include "audit.h"

#include <assert.h>

/* Whether a load's feed way passes an element. */
static bool feeds(const rl_node *load, int element)
{
    for (int i = 0; i < load->feed_chain_count; i++)
        if (load->feed_chain[i] == element)
            return true;
    return false;
}

/* Whether some load returns (is fed) through `through` but not through `beside` (-1: whatever else). */
static bool load_between(const rl_model *m, int through, int beside, bool feed)
{
    for (int e = 0; e < m->nodes; e++) {
        const rl_node *node = &m->node[e];
        if (node->info.sort != RL_LOAD)
            continue;
        bool one = feed ? feeds(node, through) : rl_passes(m, e, through);
        bool two = beside >= 0 && (feed ? feeds(node, beside) : rl_passes(m, e, beside));
        if (one && !two)
            return true;
    }
    return false;
}

static bool inspected(const rl_model *m, int element)
{
    const rl_element *info = &m->node[element].info;
    for (int l = 0; l < m->looks; l++)
        if (m->look[l].info.sorts >> info->sort & 1u)
            return !(info->forbidden & RL_NO_PROBE);
    return false;
}

/* Where a load of its own can hang: not on a load, not on a wire. */
static bool carries(const rl_model *m, int element, bool feed)
{
    const rl_node *node = &m->node[element];
    if (feed)
        return node->info.sort == RL_FEED || node->in_feed;
    return node->info.sort == RL_POINT || node->info.sort == RL_SPLICE || node->in_return;
}

/* Which of two a load of its own would have to hang on: the one nearer to the battery. */
static bool try_pair(const rl_model *m, int a, int b, bool feed, rl_alike *group)
{
    if (!carries(m, a, feed) && !carries(m, b, feed))
        return false;
    bool inner_is_a = !carries(m, b, feed) || (carries(m, a, feed) && load_between(m, b, a, feed)) ||
                      (!feed && m->node[b].way_count > 0 && rl_passes(m, b, a));
    int inner = inner_is_a ? a : b, outer = inner_is_a ? b : a;
    if (load_between(m, inner, outer, feed))
        return false;
    group->remedy = feed ? RL_REMEDY_FEED : RL_REMEDY_RETURN;
    group->element = inner;
    group->other = outer;
    return true;
}

/* The first fault of another element than the first's; -1: none. */
static int second_element(const rl_alike *group)
{
    for (size_t i = 1; i < group->count; i++)
        if (group->faults[i].element != group->faults[0].element)
            return (int)group->faults[i].element;
    return -1;
}

/* What nothing shows, and no load hangs on, wants a load at all. */
static bool try_bare(const rl_model *m, rl_alike *group)
{
    for (size_t i = 0; i < group->count; i++) {
        int element = (int)group->faults[i].element;
        for (int feed = 0; feed < 2; feed++) {
            if (!carries(m, element, feed) || load_between(m, element, -1, feed))
                continue;
            group->remedy = feed ? RL_REMEDY_FEED : RL_REMEDY_RETURN;
            group->element = element;
            return true;
        }
    }
    return false;
}

void rl_audit_remedy(const rl_model *m, rl_alike *group)
{
    assert(group->count > 0);
    int first = (int)group->faults[0].element, second = second_element(group);
    int bare = !inspected(m, first) ? first : second >= 0 && !inspected(m, second) ? second : -1;
    group->remedy = RL_REMEDY_REPAIR;
    bool pair = second >= 0 && !group->as_sound;
    if ((group->as_sound && try_bare(m, group)) ||
        (pair && (try_pair(m, first, second, false, group) || try_pair(m, first, second, true, group)))) {
        group->uninspected = !inspected(m, group->element);
    } else if (bare >= 0) {
        group->remedy = RL_REMEDY_INSPECTION;
        group->element = bare;
    }
}

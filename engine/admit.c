/* admit.c: listing the admissible tests of a case (design §4, "Next test").
 *
 * Invariant: see admit.h.  Whatever `do not` forbids, the rules have no
 * statement for, or the last occasion already holds is not in the list.
 */
#include "admit.h"

#include "roster.h"

#include <assert.h>
#include <string.h>

/* What the case has, gathered once. */
typedef struct admitter {
    rl_candidates *list;
    const rl_model *model;
    const rl_case *c;
    int last;                  /* the last occasion */
    bool *seen;                /* by load: the last occasion holds its behaviour without conditions */
    bool *amiss;               /* by load */
    bool *open;                /* by area */
    const rl_roster *roster;
    bool *read;                /* by load: the last occasion holds a reading of it */
    bool *measured[2];         /* resistance, continuity: by rl_test.measures */
} admitter;

static const char *id_of(const admitter *a, int element)
{
    return a->model->node[element].info.id;
}

static unsigned forbidden(const admitter *a, int element)
{
    return a->model->node[element].info.forbidden;
}

static int area_of(const admitter *a, int element)
{
    return element < 0 ? -1 : a->model->node[element].info.area;
}

/* Whether the last occasion (or any, for inspections) holds the observation. */
static bool held(const admitter *a, const char *text, bool anywhen)
{
    for (int i = 0; i < a->c->findings; i++) {
        const rl_finding *f = a->c->finding[i];
        if (f->sort <= RL_E_OTHERS && (anywhen || f->occasion == a->last) && strcmp(f->key, text) == 0)
            return true;
    }
    return false;
}

static void drop_if_held(admitter *a, const rl_test *c, bool anywhen)
{
    if (held(a, c->text, anywhen))
        a->list->count--;
}

/* ---- what the case says ---- */

static void gather_behaviours(admitter *a)
{
    for (int i = 0; i < a->c->findings; i++) {
        const rl_finding *f = a->c->finding[i];
        if (f->line.replaced)
            continue;
        bool plain = f->sort == RL_E_BEHAVIOUR && !f->with.bypass && f->with.bypass_at < 0 && !f->with.swap &&
                     !f->with.jumper && f->with.repaired_count == 0;
        if (plain && f->occasion == a->last)
            a->seen[f->subject] = true;
        if (plain)
            a->amiss[f->subject] = !f->first_named;
    }
}

static void gather_others(admitter *a)
{
    bool *own = rl_many(a->list->arena, a->model->nodes, bool);
    for (int i = 0; i < a->c->findings; i++)
        if (a->c->finding[i]->sort == RL_E_BEHAVIOUR && a->c->finding[i]->occasion == a->last)
            own[a->c->finding[i]->subject] = true;
    for (int i = 0; i < a->c->findings; i++) {
        const rl_finding *f = a->c->finding[i];
        if (f->sort != RL_E_OTHERS || f->occasion != a->last || f->line.replaced)
            continue;
        for (int e = 0; e < a->model->nodes; e++) {
            const rl_element *info = &a->model->node[e].info;
            if (info->sort == RL_LOAD && !own[e] &&
                (f->subject < 0 || rl_passes(a->model, info->wire, f->subject)))
                a->seen[e] = true;
        }
    }
}

static void open_area(admitter *a, int area)
{
    if (area >= 0)
        a->open[area] = true;
}

static void open_conditions(admitter *a, const rl_finding *f)
{
    if (f->with.bypass || f->with.swap || f->with.jumper)
        open_area(a, area_of(a, f->subject));
    for (int i = 0; i < f->with.cut_count; i++)
        open_area(a, area_of(a, f->with.cut[i]));
    for (int i = 0; i < f->with.repaired_count; i++)
        open_area(a, area_of(a, f->with.repaired[i]));
}

static void open_needed(admitter *a, const rl_finding *f)
{
    int areas[2];
    switch (f->sort) {
    case RL_E_OPENED: open_area(a, f->subject); break;
    case RL_E_INSPECTION:
    case RL_E_SUPPLY: open_area(a, area_of(a, f->subject)); break;
    case RL_E_BEHAVIOUR: open_conditions(a, f); break;
    case RL_E_DROP:
    case RL_E_RESISTANCE:
    case RL_E_CONTINUITY:
        rl_reading_areas(a->model, f->subject, f->from, f->to, areas);
        open_area(a, areas[0]);
        open_area(a, areas[1]);
        break;
    case RL_E_SYMPTOM:
    case RL_E_BACKFEED:
    case RL_E_PULL:
    case RL_E_OTHERS:
    case RL_E_FOUND:
    case RL_E_EXPECT:
    case RL_E_OCCASION: break;
    }
}

static void gather_areas(admitter *a)
{
    for (int o = 0; o < a->c->occasions; o++)
        for (int i = 0; i < a->c->occasion[o].repaired_count; i++)
            open_area(a, area_of(a, a->c->occasion[o].repaired[i]));
    for (int i = 0; i < a->c->findings; i++)
        open_needed(a, a->c->finding[i]);
}

void rl_areas_open(const rl_case *c, bool *open)
{
    admitter a = {.model = c->model, .c = c, .open = open};
    gather_areas(&a);
}

/* ---- what the vehicle admits ---- */

static void gather_readings(admitter *a)
{
    for (int i = 0; i < a->c->findings; i++) {
        const rl_finding *f = a->c->finding[i];
        rl_stretch stretch;
        bool dead = f->sort == RL_E_RESISTANCE || f->sort == RL_E_CONTINUITY;
        if (f->occasion != a->last)
            continue;
        if (f->sort == RL_E_DROP || f->sort == RL_E_SUPPLY)
            a->read[f->subject] = true;
        if (!dead || f->line.replaced ||
            rl_stretch_make(a->list->arena, a->model, f->subject, f->from, f->to, true, &stretch) != RL_STRETCH_OK)
            continue;
        a->measured[f->sort == RL_E_CONTINUITY][rl_span_find(&a->roster->keys, a->list->arena, &stretch)] = true;
    }
}

/* Whether the case as it is leaves the test of the roster open. */
static bool is_open(const admitter *a, const rl_test *test)
{
    switch (test->sort) {
    case RL_TEST_BEHAVIOUR: return !a->seen[test->subject];
    case RL_TEST_RESISTANCE: return !a->measured[0][test->measures];
    case RL_TEST_CONTINUITY: return !a->measured[1][test->measures];
    case RL_TEST_DROP:
    case RL_TEST_SUPPLY: return !a->read[test->subject] || !held(a, test->text, false);
    case RL_TEST_INSPECTION: return !held(a, test->text, true);
    default: return !held(a, test->text, false);
    }
}

static void admit_roster(admitter *a)
{
    rl_candidates *list = a->list;
    list->room = a->roster->tests + 256;
    list->at = rl_raw(list->arena, list->room, rl_test);
    for (int i = 0; i < a->roster->tests; i++)
        if (is_open(a, &a->roster->test[i]))
            list->at[list->count++] = a->roster->test[i];
}

/* ---- what a load that is amiss allows ---- */

static void admit_condition(admitter *a, rl_test_sort sort, int load, const char *words, int at, const rl_action *action)
{
    rl_test *c = rl_candidates_add(a->list, sort, load, action->check);
    c->other = at;
    c->areas[0] = area_of(a, at >= 0 ? at : load);
    rl_candidates_say(a->list, c, (const char *[]){id_of(a, load), words, at >= 0 ? id_of(a, at) : NULL}, at >= 0 ? 3 : 2);
    drop_if_held(a, c, false);
}

static void admit_conditions(admitter *a, int load)
{
    const rl_model *m = a->model;
    const rl_node *node = &m->node[load];
    unsigned no = forbidden(a, load);
    double current = node->info.current;
    if (!(no & RL_NO_BYPASS) && current > 0 && current <= m->bypass.up_to) {
        admit_condition(a, RL_TEST_BYPASS, load, "with bypass", -1, &m->bypass);
        for (int i = 1; i < node->on_every_count; i++)
            if (!(forbidden(a, node->on_every[i]) & RL_NO_BYPASS))
                admit_condition(a, RL_TEST_BYPASS_AT, load, "with bypass at", node->on_every[i], &m->bypass);
    }
    if (!(no & (RL_NO_SWAP | RL_NO_DISCONNECT)))
        admit_condition(a, RL_TEST_SWAP, load, "with swap", -1, &m->swap);
    if (!(no & RL_NO_JUMPER) && node->feed.parent >= 0 && current > 0 && current <= m->jumper.up_to)
        admit_condition(a, RL_TEST_JUMPER, load, "with jumper", -1, &m->jumper);
}

/* Whether two loads share an element of D but for the last of a's return. */
static bool share_return(const admitter *a, int load, int other)
{
    const rl_node *node = &a->model->node[load];
    int last = rl_last_element(a->model, load);
    for (int i = 0; i < node->on_every_count; i++)
        if (node->on_every[i] != last && rl_on_every(a->model, other, node->on_every[i]))
            return true;
    return false;
}

static void admit_pair(admitter *a, rl_test_sort sort, const char *word, int from, int to, double check)
{
    rl_test *c = rl_candidates_add(a->list, sort, from, check);
    c->other = to;
    rl_candidates_say(a->list, c, (const char *[]){word, id_of(a, from), "to", id_of(a, to)}, 4);
    drop_if_held(a, c, false);
}

static void admit_crosstalk(admitter *a, int load)
{
    const rl_model *m = a->model;
    for (int e = 0; e < m->nodes; e++) {
        const rl_node *node = &m->node[e];
        if (node->info.sort != RL_LOAD || e == load)
            continue;
        bool shares = share_return(a, load, e);
        bool feeds = node->feed.parent >= 0 && node->feed.parent == m->node[load].feed.parent;
        if (m->backfeed.given && shares)
            admit_pair(a, RL_TEST_BACKFEED, "backfeed", load, e, m->backfeed.check);
        if (m->pull.given && (shares || feeds))
            admit_pair(a, RL_TEST_PULL, "pull", e, load, m->pull.check);
    }
}

static void set_minutes(admitter *a, rl_test *test)
{
    test->minutes = test->check_minutes;
    for (int i = 0; i < 2; i++) {
        int area = test->areas[i];
        if (area >= 0 && a->open[area])
            test->areas[i] = -1;
        else if (area >= 0)
            test->minutes += a->model->area[area].access;
    }
}

void rl_admit_all(rl_candidates *list, rl_arena *arena, const rl_case *c)
{
    const rl_model *m = c->model;
    *list = (rl_candidates){.arena = arena};
    admitter a = {.list = list, .model = m, .c = c, .last = c->occasions - 1};
    a.seen = rl_many(arena, m->nodes, bool);
    a.amiss = rl_many(arena, m->nodes, bool);
    a.open = rl_many(arena, m->areas + 1, bool);
    a.roster = rl_roster_of(m, arena);
    a.read = rl_many(arena, m->nodes, bool);
    for (int i = 0; i < 2; i++)
        a.measured[i] = rl_many(arena, a.roster->keys.sets + 1, bool);
    gather_behaviours(&a);
    gather_others(&a);
    gather_areas(&a);
    gather_readings(&a);
    admit_roster(&a);
    for (int e = 0; e < m->nodes; e++)
        if (a.amiss[e]) {
            admit_conditions(&a, e);
            admit_crosstalk(&a, e);
        }
    for (int i = 0; i < list->count; i++)
        set_minutes(&a, &list->at[i]);
}

rl_conditions rl_test_conditions(const rl_test *test)
{
    rl_conditions with = {.bypass_at = -1};
    with.bypass = test->sort == RL_TEST_BYPASS;
    with.swap = test->sort == RL_TEST_SWAP;
    with.jumper = test->sort == RL_TEST_JUMPER;
    if (test->sort == RL_TEST_BYPASS_AT)
        with.bypass_at = test->other;
    return with;
}

rl_evidence rl_test_evidence(rl_test_sort sort)
{
    switch (sort) {
    case RL_TEST_BEHAVIOUR:
    case RL_TEST_BYPASS:
    case RL_TEST_BYPASS_AT:
    case RL_TEST_SWAP:
    case RL_TEST_JUMPER: return RL_E_BEHAVIOUR;
    case RL_TEST_SYMPTOM: return RL_E_SYMPTOM;
    case RL_TEST_INSPECTION: return RL_E_INSPECTION;
    case RL_TEST_BACKFEED: return RL_E_BACKFEED;
    case RL_TEST_PULL: return RL_E_PULL;
    case RL_TEST_DROP: return RL_E_DROP;
    case RL_TEST_RESISTANCE: return RL_E_RESISTANCE;
    case RL_TEST_CONTINUITY: return RL_E_CONTINUITY;
    case RL_TEST_SUPPLY: return RL_E_SUPPLY;
    }
    return RL_E_OCCASION;
}

/* admit.c: listing the admissible tests of a case (design §4, "Next test").
 *
 * Invariant: see admit.h.  Whatever `do not` forbids, the rules have no
 * statement for, or the last occasion already holds is not in the list.
 */
#include "admit.h"

#include "span_key.h"

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
    rl_span_keys keys;         /* sets of elements */
} admitter;

/* Marks on sets of elements. */
enum { MARK_TAKEN = 1, MARK_RESISTANCE = 2, MARK_CONTINUITY = 4 };

/* ---- adding ---- */

static rl_test *add(admitter *a, rl_test_sort sort, int subject, double check)
{
    rl_candidates *list = a->list;
    if (list->count == list->room) {
        int room = list->room ? list->room * 2 : 256;
        rl_test *more = rl_many(list->arena, room, rl_test);
        if (list->count > 0)
            memcpy(more, list->at, (size_t)list->count * sizeof *more);
        list->at = more;
        list->room = room;
    }
    rl_test *c = &list->at[list->count++];
    *c = (rl_test){.sort = sort, .subject = subject, .other = -1, .named = -1, .from = -1, .to = -1,
                   .areas = {-1, -1}, .suspect = -1, .check_minutes = check};
    return c;
}

static void set_text(admitter *a, rl_test *c, const char *const *word, int words)
{
    rl_text text = {.arena = a->list->arena};
    for (int i = 0; i < words; i++) {
        if (i > 0)
            rl_put(&text, " ");
        rl_put(&text, word[i]);
    }
    c->text = text.bytes;
}

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

/* The areas of a reading's two ends. */
static void reading_areas(const admitter *a, int load, int from, int to, int areas[2])
{
    areas[0] = area_of(a, from >= 0 ? from : load);
    areas[1] = area_of(a, to >= 0 ? to : rl_last_element(a->model, load));
    if (areas[1] == areas[0])
        areas[1] = -1;
}

static void open_conditions(admitter *a, const rl_finding *f)
{
    if (f->with.bypass || f->with.swap || f->with.jumper)
        open_area(a, area_of(a, f->subject));
    if (f->with.bypass_at >= 0)
        open_area(a, area_of(a, f->with.bypass_at));
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
        reading_areas(a, f->subject, f->from, f->to, areas);
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

/* ---- behaviours, symptoms, inspections ---- */

static void admit_behaviours(admitter *a)
{
    for (int e = 0; e < a->model->nodes; e++) {
        const rl_element *info = &a->model->node[e].info;
        if (info->sort != RL_LOAD || a->seen[e])
            continue;
        rl_test *c = add(a, RL_TEST_BEHAVIOUR, e, a->model->kind[info->kind].info.check);
        set_text(a, c, (const char *[]){info->id}, 1);
    }
}

static void admit_symptoms(admitter *a)
{
    for (int s = 0; s < a->model->signs; s++) {
        rl_test *c = add(a, RL_TEST_SYMPTOM, -1, a->model->sign[s].info.check);
        c->named = s;
        set_text(a, c, (const char *[]){a->model->sign[s].info.id}, 1);
        drop_if_held(a, c, false);
    }
}

static void admit_inspections(admitter *a)
{
    for (int l = 0; l < a->model->looks; l++) {
        const rl_inspection *look = &a->model->look[l].info;
        for (int e = 0; e < a->model->nodes; e++) {
            if (!(look->sorts >> a->model->node[e].info.sort & 1u) || (forbidden(a, e) & RL_NO_PROBE))
                continue;
            rl_test *c = add(a, RL_TEST_INSPECTION, e, look->check);
            c->named = l;
            c->areas[0] = area_of(a, e);
            set_text(a, c, (const char *[]){look->id, id_of(a, e)}, 2);
            drop_if_held(a, c, true);
        }
    }
}

/* ---- readings ---- */

static void set_span_text(admitter *a, rl_test *c, const char *word)
{
    const char *text[6] = {word, id_of(a, c->subject)};
    int words = 2;
    if (c->from >= 0) {
        text[words++] = "from";
        text[words++] = id_of(a, c->from);
    }
    if (c->to >= 0) {
        text[words++] = "to";
        text[words++] = id_of(a, c->to);
    }
    set_text(a, c, text, words);
}

static bool probe_forbidden(const admitter *a, int load, int from, int to, bool dead)
{
    int last = dead && to < 0 ? rl_last_element(a->model, load) : to;
    unsigned all = forbidden(a, load) | (from >= 0 ? forbidden(a, from) : 0) | (last >= 0 ? forbidden(a, last) : 0);
    return all & RL_NO_PROBE;
}

static double limit_of(const admitter *a, size_t key)
{
    const rl_span_set *set = &a->keys.set[key];
    double limit = 0;
    for (int i = 0; i < set->count; i++)
        if (a->model->node[set->element[i]].info.limit > limit)
            limit = a->model->node[set->element[i]].info.limit;
    return limit;
}

static void put_span(admitter *a, rl_test_sort sort, int load, int from, int to, size_t key)
{
    static const char *const word[] = {"drop", "resistance", "continuity"};
    const rl_model *m = a->model;
    double check = sort == RL_TEST_DROP ? m->volts.check : sort == RL_TEST_RESISTANCE ? m->ohms.check : m->beeper.check;
    rl_test *c = add(a, sort, load, check);
    c->from = from;
    c->to = to;
    c->measures = key;
    c->limit = sort == RL_TEST_DROP ? limit_of(a, key) : 0;
    reading_areas(a, load, from, to, c->areas);
    set_span_text(a, c, word[sort - RL_TEST_DROP]);
    if (sort == RL_TEST_DROP)
        drop_if_held(a, c, false);
}

static void admit_drop(admitter *a, int load, int from, int to)
{
    const rl_node *node = &a->model->node[load];
    rl_stretch stretch;
    if (!a->model->volts.given || node->info.current <= 0 || probe_forbidden(a, load, from, to, false))
        return;
    if (rl_stretch_make(a->list->arena, a->model, load, from, to, false, &stretch) != RL_STRETCH_OK ||
        !rl_span_has_laws(a->model, &stretch))
        return;
    put_span(a, RL_TEST_DROP, load, from, to, rl_span_key(&a->keys, &stretch));
}

/* Resistance and continuity: spans of the same elements once. */
static void admit_dead(admitter *a, int load, int from, int to)
{
    rl_stretch stretch;
    if (!(a->model->ohms.given || a->model->beeper.given) || probe_forbidden(a, load, from, to, true) ||
        (forbidden(a, load) & RL_NO_DISCONNECT))
        return;
    if (rl_stretch_make(a->list->arena, a->model, load, from, to, true, &stretch) != RL_STRETCH_OK ||
        !rl_span_has_laws(a->model, &stretch))
        return;
    size_t key = rl_span_key(&a->keys, &stretch);
    if (!rl_span_mark(&a->keys, key, MARK_TAKEN))
        return;
    if (a->model->ohms.given && !rl_span_marked(&a->keys, key, MARK_RESISTANCE))
        put_span(a, RL_TEST_RESISTANCE, load, from, to, key);
    if (a->model->beeper.given && !rl_span_marked(&a->keys, key, MARK_CONTINUITY))
        put_span(a, RL_TEST_CONTINUITY, load, from, to, key);
}

/* Ends in D(load): from (its wire: the default) before to (-1: the end). */
static void admit_spans_of(admitter *a, int load)
{
    const rl_node *node = &a->model->node[load];
    int last = rl_last_element(a->model, load);
    for (int i = 0; i < node->on_every_count; i++) {
        int from = i == 0 ? -1 : node->on_every[i];
        admit_drop(a, load, from, -1);
        admit_dead(a, load, from, -1);
        for (int j = i + 1; j < node->on_every_count; j++) {
            int to = node->on_every[j];
            admit_drop(a, load, from, to);
            if (to != last)
                admit_dead(a, load, from, to);
        }
    }
}

static void gather_measured(admitter *a)
{
    for (int i = 0; i < a->c->findings; i++) {
        const rl_finding *f = a->c->finding[i];
        rl_stretch stretch;
        bool dead = f->sort == RL_E_RESISTANCE || f->sort == RL_E_CONTINUITY;
        if (!dead || f->line.replaced || f->occasion != a->last)
            continue;
        if (rl_stretch_make(a->list->arena, a->model, f->subject, f->from, f->to, true, &stretch) != RL_STRETCH_OK)
            continue;
        rl_span_mark(&a->keys, rl_span_key(&a->keys, &stretch),
                     f->sort == RL_E_CONTINUITY ? MARK_CONTINUITY : MARK_RESISTANCE);
    }
}

static void admit_readings(admitter *a)
{
    gather_measured(a);
    for (int e = 0; e < a->model->nodes; e++) {
        const rl_node *node = &a->model->node[e];
        if (node->info.sort != RL_LOAD)
            continue;
        admit_spans_of(a, e);
        bool laws = a->model->sound.median > 0 && a->model->corroded.median > 0;
        if (node->feed.parent < 0 || node->info.current <= 0 || !a->model->volts.given || !laws ||
            (forbidden(a, e) & RL_NO_PROBE))
            continue;
        rl_test *c = add(a, RL_TEST_SUPPLY, e, a->model->volts.check);
        c->areas[0] = area_of(a, e);
        set_text(a, c, (const char *[]){"supply", id_of(a, e)}, 2);
        drop_if_held(a, c, false);
    }
}

/* ---- what a load that is amiss allows ---- */

static void admit_condition(admitter *a, rl_test_sort sort, int load, const char *words, int at, const rl_action *action)
{
    rl_test *c = add(a, sort, load, action->check);
    c->other = at;
    c->areas[0] = area_of(a, at >= 0 ? at : load);
    set_text(a, c, (const char *[]){id_of(a, load), words, at >= 0 ? id_of(a, at) : NULL}, at >= 0 ? 3 : 2);
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
    rl_test *c = add(a, sort, from, check);
    c->other = to;
    set_text(a, c, (const char *[]){word, id_of(a, from), "to", id_of(a, to)}, 4);
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
    *list = (rl_candidates){.arena = arena, .c = c};
    admitter a = {.list = list, .model = m, .c = c, .last = c->occasions - 1};
    a.seen = rl_many(arena, m->nodes, bool);
    a.amiss = rl_many(arena, m->nodes, bool);
    a.open = rl_many(arena, m->areas + 1, bool);
    rl_span_keys_make(&a.keys, arena);
    gather_behaviours(&a);
    gather_others(&a);
    gather_areas(&a);
    admit_behaviours(&a);
    admit_symptoms(&a);
    admit_inspections(&a);
    admit_readings(&a);
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

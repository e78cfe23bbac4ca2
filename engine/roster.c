/* roster.c: see roster.h.
 *
 * Invariant: what `do not` forbids or the rules have no statement for is not in the list;
 * of resistance and continuity each set of elements is there once, for the first load
 * for which it may be measured.
 */
#include "roster.h"

#include <assert.h>
#include <setjmp.h>
#include <stdatomic.h>
#include <stdint.h>
#include <string.h>

struct rl_roster_place {
    _Atomic(rl_roster *) roster;
};

typedef struct lister {
    const rl_model *model;
    rl_arena *scratch;
    rl_span_keys *keys;
    rl_candidates list;
} lister;

/* Marks on sets of elements. */
enum { MARK_TAKEN = 1 };

/* ---- adding ---- */

rl_test *rl_candidates_add(rl_candidates *list, rl_test_sort sort, int subject, double check)
{
    if (list->count == list->room) {
        int room = list->room ? list->room * 2 : 256;
        rl_test *more = rl_raw(list->arena, room, rl_test);
        if (list->count > 0)
            memcpy(more, list->at, (size_t)list->count * sizeof *more);
        list->at = more;
        list->room = room;
    }
    rl_test *test = &list->at[list->count++];
    *test = (rl_test){.sort = sort, .subject = subject, .other = -1, .named = -1, .from = -1, .to = -1,
                      .areas = {-1, -1}, .suspect = -1, .check_minutes = check};
    return test;
}

void rl_candidates_say(const rl_candidates *list, rl_test *test, const char *const *word, int words)
{
    rl_text text = {.arena = list->arena};
    for (int i = 0; i < words; i++) {
        if (i > 0)
            rl_put(&text, " ");
        rl_put(&text, word[i]);
    }
    test->text = text.bytes;
}

static const char *id_of(const lister *l, int element)
{
    return l->model->node[element].info.id;
}

static unsigned forbidden(const lister *l, int element)
{
    return l->model->node[element].info.forbidden;
}

static int area_of(const rl_model *model, int element)
{
    return element < 0 ? -1 : model->node[element].info.area;
}

void rl_reading_areas(const rl_model *model, int load, int from, int to, int areas[2])
{
    areas[0] = area_of(model, from >= 0 ? from : load);
    areas[1] = area_of(model, to >= 0 ? to : rl_last_element(model, load));
    if (areas[1] == areas[0])
        areas[1] = -1;
}

/* ---- behaviours, symptoms, inspections ---- */

static void list_behaviours(lister *l)
{
    for (int e = 0; e < l->model->nodes; e++) {
        const rl_element *info = &l->model->node[e].info;
        if (info->sort != RL_LOAD)
            continue;
        rl_test *test = rl_candidates_add(&l->list, RL_TEST_BEHAVIOUR, e, l->model->kind[info->kind].info.check);
        rl_candidates_say(&l->list, test, (const char *[]){info->id}, 1);
    }
}

static void list_symptoms(lister *l)
{
    for (int s = 0; s < l->model->signs; s++) {
        rl_test *test = rl_candidates_add(&l->list, RL_TEST_SYMPTOM, -1, l->model->sign[s].info.check);
        test->named = s;
        rl_candidates_say(&l->list, test, (const char *[]){l->model->sign[s].info.id}, 1);
    }
}

static void list_inspections(lister *l)
{
    for (int i = 0; i < l->model->looks; i++) {
        const rl_inspection *look = &l->model->look[i].info;
        for (int e = 0; e < l->model->nodes; e++) {
            if (!(look->sorts >> l->model->node[e].info.sort & 1u) || (forbidden(l, e) & RL_NO_PROBE))
                continue;
            rl_test *test = rl_candidates_add(&l->list, RL_TEST_INSPECTION, e, look->check);
            test->named = i;
            test->areas[0] = area_of(l->model, e);
            rl_candidates_say(&l->list, test, (const char *[]){look->id, id_of(l, e)}, 2);
        }
    }
}

/* ---- readings ---- */

static void set_span_text(lister *l, rl_test *test, const char *word)
{
    const char *text[6] = {word, id_of(l, test->subject)};
    int words = 2;
    if (test->from >= 0) {
        text[words++] = "from";
        text[words++] = id_of(l, test->from);
    }
    if (test->to >= 0) {
        text[words++] = "to";
        text[words++] = id_of(l, test->to);
    }
    rl_candidates_say(&l->list, test, text, words);
}

static bool probe_forbidden(const lister *l, int load, int from, int to, bool dead)
{
    int last = dead && to < 0 ? rl_last_element(l->model, load) : to;
    unsigned all = forbidden(l, load) | (from >= 0 ? forbidden(l, from) : 0) | (last >= 0 ? forbidden(l, last) : 0);
    return all & RL_NO_PROBE;
}

static double limit_of(const lister *l, size_t key)
{
    const rl_span_set *set = &l->keys->set[key];
    double limit = 0;
    for (int i = 0; i < set->count; i++)
        if (l->model->node[set->element[i]].info.limit > limit)
            limit = l->model->node[set->element[i]].info.limit;
    return limit;
}

static void put_span(lister *l, rl_test_sort sort, int load, int from, int to, size_t key)
{
    static const char *const word[] = {"drop", "resistance", "continuity"};
    const rl_model *m = l->model;
    double check = sort == RL_TEST_DROP ? m->volts.check : sort == RL_TEST_RESISTANCE ? m->ohms.check : m->beeper.check;
    rl_test *test = rl_candidates_add(&l->list, sort, load, check);
    test->from = from;
    test->to = to;
    test->measures = key;
    test->limit = sort == RL_TEST_DROP ? limit_of(l, key) : 0;
    rl_reading_areas(m, load, from, to, test->areas);
    set_span_text(l, test, word[sort - RL_TEST_DROP]);
}

/* The number of the span's set of elements; 0: it cannot be measured. */
static size_t key_of(lister *l, int load, int from, int to, bool dead)
{
    rl_stretch stretch;
    rl_mark mark = rl_arena_mark(l->scratch);
    size_t key = 0;
    if (rl_stretch_make(l->scratch, l->model, load, from, to, dead, &stretch) == RL_STRETCH_OK &&
        rl_span_has_laws(l->model, &stretch))
        key = rl_span_key(l->keys, &stretch);
    rl_arena_rewind(l->scratch, mark);
    return key;
}

static void list_drop(lister *l, int load, int from, int to)
{
    const rl_node *node = &l->model->node[load];
    if (!l->model->volts.given || node->info.current <= 0 || probe_forbidden(l, load, from, to, false))
        return;
    size_t key = key_of(l, load, from, to, false);
    if (key > 0)
        put_span(l, RL_TEST_DROP, load, from, to, key);
}

/* Resistance and continuity: spans of the same elements once. */
static void list_dead(lister *l, int load, int from, int to)
{
    if (!(l->model->ohms.given || l->model->beeper.given) || probe_forbidden(l, load, from, to, true) ||
        (forbidden(l, load) & RL_NO_DISCONNECT))
        return;
    size_t key = key_of(l, load, from, to, true);
    if (key == 0 || !rl_span_mark(l->keys, key, MARK_TAKEN))
        return;
    if (l->model->ohms.given)
        put_span(l, RL_TEST_RESISTANCE, load, from, to, key);
    if (l->model->beeper.given)
        put_span(l, RL_TEST_CONTINUITY, load, from, to, key);
}

/* Ends in D(load): from (its wire: the default) before to (-1: the end). */
static void list_spans_of(lister *l, int load)
{
    const rl_node *node = &l->model->node[load];
    int last = rl_last_element(l->model, load);
    for (int i = 0; i < node->on_every_count; i++) {
        int from = i == 0 ? -1 : node->on_every[i];
        list_drop(l, load, from, -1);
        list_dead(l, load, from, -1);
        for (int j = i + 1; j < node->on_every_count; j++) {
            int to = node->on_every[j];
            list_drop(l, load, from, to);
            if (to != last)
                list_dead(l, load, from, to);
        }
    }
}

static void list_supply(lister *l, int load)
{
    const rl_model *m = l->model;
    const rl_node *node = &m->node[load];
    bool laws = m->sound.median > 0 && m->corroded.median > 0;
    if (node->feed.parent < 0 || node->info.current <= 0 || !m->volts.given || !laws ||
        (forbidden(l, load) & RL_NO_PROBE))
        return;
    rl_test *test = rl_candidates_add(&l->list, RL_TEST_SUPPLY, load, m->volts.check);
    test->areas[0] = area_of(m, load);
    rl_candidates_say(&l->list, test, (const char *[]){"supply", id_of(l, load)}, 2);
}

static void list_readings(lister *l)
{
    for (int e = 0; e < l->model->nodes; e++) {
        if (l->model->node[e].info.sort != RL_LOAD)
            continue;
        list_spans_of(l, e);
        list_supply(l, e);
    }
}

/* ---- one for each model ---- */

rl_roster_place *rl_roster_place_make(rl_arena *arena)
{
    rl_roster_place *place = rl_new(arena, rl_roster_place);
    atomic_init(&place->roster, NULL);
    return place;
}

static void give(rl_roster *roster)
{
    rl_arena arena = roster->arena;   /* the roster lies in its own arena */
    rl_arena_free(&arena);
}

void rl_roster_free(rl_roster_place *place)
{
    rl_roster *roster = place ? atomic_load_explicit(&place->roster, memory_order_acquire) : NULL;
    if (roster != NULL)
        give(roster);
}

/* false: no memory. */
static bool list_all(rl_arena *arena, rl_arena *scratch, const rl_model *model, rl_roster **out)
{
    jmp_buf bail;
    arena->bail = scratch->bail = &bail;
    if (setjmp(bail))
        return false;
    rl_roster *roster = *out = rl_new(arena, rl_roster);
    lister l = {.model = model, .scratch = scratch, .keys = &roster->keys, .list = {.arena = arena}};
    rl_span_keys_make(&roster->keys, arena);
    list_behaviours(&l);
    list_symptoms(&l);
    list_inspections(&l);
    list_readings(&l);
    roster->test = l.list.at;
    roster->tests = l.list.count;
    return true;
}

/* NULL: no memory. */
static rl_roster *make(const rl_model *model)
{
    rl_arena arena, scratch;
    rl_roster *roster = NULL;
    rl_arena_init(&arena, &model->arena.allocator, 0);
    rl_arena_init(&scratch, &model->arena.allocator, 0);
    bool made = list_all(&arena, &scratch, model, &roster);
    rl_arena_free(&scratch);
    if (!made) {
        rl_arena_free(&arena);
        return NULL;
    }
    arena.bail = NULL;
    roster->arena = arena;
    roster->keys.arena = NULL;   /* nothing is added any more */
    return roster;
}

const rl_roster *rl_roster_of(const rl_model *model, rl_arena *arena)
{
    rl_roster *there = atomic_load_explicit(&model->roster->roster, memory_order_acquire);
    if (there != NULL)
        return there;
    rl_roster *own = make(model);
    if (own == NULL)
        rl_arena_raw(arena, SIZE_MAX);   /* bails */
    if (atomic_compare_exchange_strong_explicit(&model->roster->roster, &there, own, memory_order_acq_rel,
                                                memory_order_acquire))
        return own;
    give(own);   /* another thread was sooner */
    return there;
}

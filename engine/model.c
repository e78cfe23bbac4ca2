/* model.c: what is derived when a model is frozen, and the public questions to it.
 *
 * Invariant: after rl_model_freeze nothing in the model is written again, but
 * for the memos of bands and of tests, which mean nothing; its derived cautions follow an
 * element's own, its class's and its area's.
 */
#include "lower.h"

#include "../grammar/parse.h"
#include "band_book.h"
#include "crowd.h"
#include "roster.h"
#include "rows.h"

#include <assert.h>
#include <math.h>
#include <string.h>

static const size_t MOST_BANDS = (size_t)16 << 20;   /* bytes of the memo of bands */

void rl_model_bins(rl_model *model, rl_law law, const double **mass, const double **median)
{
    double *p = rl_many(&model->arena, model->bins, double), sum = 0;
    double *middle = rl_many(&model->arena, model->bins, double);
    assert(model->bins >= 1);
    for (int b = 0; b < model->bins && law.median > 0; b++) {
        double part = rl_law_mass(law, model->edge[b], model->edge[b + 1]);
        if (part <= RL_NO_MASS)
            continue;
        sum += p[b] = part;
        middle[b] = model->bins == 1 ? law.median : rl_law_cut_median(law, model->edge[b], model->edge[b + 1]);
    }
    for (int b = 0; b < model->bins && sum > 0; b++)
        p[b] /= sum;
    if (sum <= 0)
        p[0] = 1; /* no law at all: then there are no grades either */
    *mass = p;
    *median = middle;
}

/* ---- derived cautions (design §6) ---- */

typedef struct pending { const char **text; size_t count, room; } pending;

static void append_text(rl_arena *arena, pending *list, const char *text)
{
    if (list->count == list->room) {
        size_t room = list->room == 0 ? 4 : 2 * list->room;
        const char **more = rl_many(arena, room, const char *);
        if (list->count > 0)
            memcpy(more, list->text, list->count * sizeof *more);
        list->text = more;
        list->room = room;
    }
    list->text[list->count++] = text;
}

static const char *undoing(rl_arena *arena, const char *label, const char *caution)
{
    rl_text text = { .arena = arena };
    rl_put(&text, "undoing this also opens ");
    rl_put(&text, label);
    rl_put(&text, ": ");
    rl_put(&text, caution);
    return text.bytes;
}

/* What undoing the ground of a load warns of: its own and its kind's cautions,
 * not those of the place where it sits. */
static pending warnings_of(rl_model *m, rl_arena *scratch, const rl_element *load)
{
    pending list = { NULL, 0, 0 };
    size_t count = load->cautions.count;
    if (load->area >= 0)
        count -= m->area[load->area].cautions.count;
    for (size_t i = 0; i < count; i++)
        append_text(scratch, &list, undoing(&m->arena, load->label, load->cautions.text[i]));
    if (count == 0)
        append_text(scratch, &list, undoing(&m->arena, load->label,
                    load->forbidden & RL_NO_DISCONNECT ? "do not disconnect" : "do not probe"));
    return list;
}

typedef struct spread {
    rl_arena *scratch;
    pending *extra;            /* by element */
    int *seen;                 /* by element: the last load + 1 whose return reached it */
    int *stack;
    int depth;
} spread;

static void reach(spread *s, int element, int load, const pending *warnings)
{
    if (s->seen[element] == load + 1)
        return;
    s->seen[element] = load + 1;
    s->stack[s->depth++] = element;
    for (size_t i = 0; i < warnings->count; i++)
        append_text(s->scratch, &s->extra[element], warnings->text[i]);
}

/* Gives a load's warnings to all that any of its returns passes. */
static void warn_along(rl_model *m, spread *s, int load)
{
    pending warnings = warnings_of(m, s->scratch, &m->node[load].info);
    reach(s, m->node[load].info.wire, load, &warnings);
    while (s->depth > 0) {
        const rl_node *node = &m->node[s->stack[--s->depth]];
        for (int w = 0; w < node->way_count; w++) {
            for (int v = 0; v < node->way[w].via_count; v++)
                reach(s, node->way[w].via[v], load, &warnings);
            reach(s, node->way[w].parent, load, &warnings);
        }
    }
}

static void derive_cautions(rl_model *m, rl_arena *scratch)
{
    spread s = { scratch, rl_many(scratch, m->nodes + 1, pending), rl_many(scratch, m->nodes + 1, int),
                 rl_many(scratch, m->nodes + 1, int), 0 };
    for (int i = 0; i < m->nodes; i++)
        if (m->node[i].info.sort == RL_LOAD && (m->node[i].info.forbidden & (RL_NO_PROBE | RL_NO_DISCONNECT)))
            warn_along(m, &s, i);
    for (int i = 0; i < m->nodes; i++) {
        rl_texts *own = &m->node[i].info.cautions;
        if (s.extra[i].count == 0)
            continue;
        const char **all = rl_many(&m->arena, own->count + s.extra[i].count, const char *);
        if (own->count > 0)
            memcpy(all, own->text, own->count * sizeof *all);
        memcpy(all + own->count, s.extra[i].text, s.extra[i].count * sizeof *all);
        *own = (rl_texts){ all, own->count + s.extra[i].count };
        m->node[i].info.derived = s.extra[i].count;
    }
}

/* ---- freezing ---- */

static void name_all(rl_model *m)
{
    rl_names *names = rl_names_new(&m->arena);
    for (int i = 0; i < m->nodes; i++)
        rl_names_put(names, RL_NAME_ELEMENT, m->node[i].info.id, i);
    for (int i = 0; i < m->signs; i++)
        rl_names_put(names, RL_NAME_SYMPTOM, m->sign[i].info.id, i);
    for (int i = 0; i < m->looks; i++)
        rl_names_put(names, RL_NAME_INSPECTION, m->look[i].info.id, i);
    for (int i = 0; i < m->areas; i++)
        rl_names_put(names, RL_NAME_AREA, m->area[i].id, i);
    m->names = names;
}

void rl_model_freeze(rl_model *m, rl_arena *scratch)
{
    double *mass = rl_many(&m->arena, m->bins, double);
    for (int b = 0; b < m->bins; b++)
        mass[b] = m->corroded.median > 0 ? rl_law_mass(m->corroded, m->edge[b], m->edge[b + 1]) : 1;
    m->bin_law_mass = mass;
    m->vehicle.elements = (size_t)m->nodes;
    m->vehicle.areas = (size_t)m->areas;
    m->vehicle.kinds = (size_t)m->kinds;
    m->vehicle.symptoms = (size_t)m->signs;
    m->vehicle.inspections = (size_t)m->looks;
    name_all(m);
    rl_paths(m);
    derive_cautions(m, scratch);
    m->rows = rl_row_book_make(&m->arena, m);
    m->crowd = rl_crowd_book_make(&m->arena, scratch, m);
    m->bands = rl_band_book_make(&m->arena, MOST_BANDS);
    m->roster = rl_roster_place_make(&m->arena);
}

void rl_model_free(rl_model *model)
{
    if (model == NULL)
        return;
    rl_band_book_free(model->bands);
    rl_roster_free(model->roster);
    rl_arena arena = model->arena; /* the model lies in its own arena */
    rl_arena_free(&arena);
}

/* ---- questions ---- */

const rl_vehicle *rl_model_vehicle(const rl_model *model)
{
    return &model->vehicle;
}

const rl_element *rl_model_element(const rl_model *model, size_t index)
{
    assert(index < (size_t)model->nodes);
    return &model->node[index].info;
}

const rl_area *rl_model_area(const rl_model *model, size_t index)
{
    assert(index < (size_t)model->areas);
    return &model->area[index];
}

const rl_kind *rl_model_kind(const rl_model *model, size_t index)
{
    assert(index < (size_t)model->kinds);
    return &model->kind[index].info;
}

const rl_symptom *rl_model_symptom(const rl_model *model, size_t index)
{
    assert(index < (size_t)model->signs);
    return &model->sign[index].info;
}

const rl_inspection *rl_model_inspection(const rl_model *model, size_t index)
{
    assert(index < (size_t)model->looks);
    return &model->look[index].info;
}

int rl_model_find(const rl_model *model, const char *id)
{
    return rl_find_element(model, id);
}

bool rl_model_way(const rl_model *model, size_t element, size_t which, int *parent, const int **via,
                  size_t *via_count)
{
    assert(element < (size_t)model->nodes);
    const rl_node *node = &model->node[element];
    const rl_alternative *way = node->way;
    size_t count = (size_t)node->way_count;
    if (node->info.sort == RL_LOAD) {
        way = &node->feed; /* its returns stand on its wire */
        count = node->feed.parent >= 0;
    }
    if (which >= count)
        return false;
    *parent = way[which].parent;
    *via = way[which].via;
    *via_count = (size_t)way[which].via_count;
    return true;
}

const int *rl_model_on_every_path(const rl_model *model, size_t load, size_t *count)
{
    assert(load < (size_t)model->nodes && model->node[load].info.sort == RL_LOAD);
    *count = (size_t)model->node[load].on_every_count;
    return model->node[load].on_every;
}

size_t rl_model_flags(const rl_model *model)
{
    return (size_t)model->nodes + (size_t)model->signs + (size_t)model->looks;
}

static rl_untouched declared(const rl_model *model, rl_span span, const char *id)
{
    return (rl_untouched){ model->source[span.source], span.line, id };
}

rl_untouched rl_model_flag(const rl_model *model, size_t index)
{
    assert(index < rl_model_flags(model));
    size_t nodes = (size_t)model->nodes, signs = (size_t)model->signs;
    if (index < nodes)
        return declared(model, model->node[index].span, model->node[index].info.id);
    if (index < nodes + signs)
        return declared(model, model->sign[index - nodes].span, model->sign[index - nodes].info.id);
    const rl_look *look = &model->look[index - nodes - signs];
    return declared(model, look->span, look->info.id);
}

const char *rl_sort_text(rl_sort sort)
{
    static const char *const text[RL_SORTS] = { "point", "splice", "connector", "wire", "feed", "load" };
    return text[sort];
}

const char *rl_state_text(rl_state state)
{
    static const char *const text[RL_STATES] = { "sound", "loose", "corroded", "open", "failed" };
    return text[state];
}

const char *const *rl_language_words(size_t *count)
{
    return rl_words(count);
}

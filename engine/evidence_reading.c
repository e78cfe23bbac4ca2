/* evidence_reading.c: what a meter or a beeper showed.
 *
 * Invariant: a good reading has a meter, a span that exists, both joint laws
 * for each element of the span, and a known current wherever its law needs one.
 */
#include "evidence.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define EV_SIGMAS 5.0

static bool is_dead(rl_evidence sort)
{
    return sort == RL_E_RESISTANCE || sort == RL_E_CONTINUITY;
}

static bool meter(ev_line *l)
{
    const rl_model *m = l->model;
    rl_evidence sort = l->finding->sort;
    const rl_meter *meter = sort == RL_E_RESISTANCE ? &m->ohms : sort == RL_E_CONTINUITY ? &m->beeper : &m->volts;
    const char *name = sort == RL_E_RESISTANCE ? "ohms" : sort == RL_E_CONTINUITY ? "beeper" : "volts";
    if (!meter->given)
        ev_fault(l, l->stmt->span, RL_MSG_EV_NO_METER, name, NULL, NULL);
    return meter->given;
}

/* ---- the span ---- */

static const ast_word *end_word(const ev_line *l, ast_clause_sort sort)
{
    const ast_clause *clause = ev_clause(l->stmt, sort);
    return clause == NULL ? NULL : clause->words;
}

static int end_element(ev_line *l, const ast_word *word)
{
    return word == NULL ? -1 : ev_element(l, word, RL_NAME_JOINT | RL_NAME_WIRE);
}

/* "a, b, c": D of the load from its place `first` on; with `chain`, no further than the first fork. */
static const char *every_text(ev_line *l, int load, int first, bool chain)
{
    const rl_node *node = &l->model->node[load];
    rl_text text = { .arena = l->scratch };
    for (int i = 0; i < node->on_every_count; i++) {
        const rl_node *element = &l->model->node[node->on_every[i]];
        if (i >= first) {
            rl_put(&text, i > first ? ", " : "");
            rl_put(&text, element->info.id);
        }
        if (chain && element->way_count > 1)
            break;
    }
    return text.bytes == NULL ? "none" : text.bytes;
}

static void span_fault(ev_line *l, rl_stretch_fault fault, const ast_word *from, const ast_word *to)
{
    const rl_finding *f = l->finding;
    const char *load = l->model->node[f->subject].info.id;
    const ast_word *last = to != NULL ? to : from;
    assert(from != NULL || (fault != RL_STRETCH_FROM && fault != RL_STRETCH_FORK));
    rl_span at = last != NULL ? last->span : l->stmt->span;
    switch (fault) {
    case RL_STRETCH_OK: break;
    case RL_STRETCH_FROM:
        ev_fault(l, from->span, RL_MSG_EV_SPAN_OFF, from->text, load, every_text(l, f->subject, 0, true));
        break;
    case RL_STRETCH_TO:
        ev_fault(l, to->span, RL_MSG_EV_SPAN_OFF, to->text, load, every_text(l, f->subject, 1, false));
        break;
    case RL_STRETCH_ORDER:
        ev_fault(l, at, RL_MSG_EV_SPAN_EMPTY, load, every_text(l, f->subject, 0, false), NULL);
        break;
    case RL_STRETCH_FORK:
        ev_fault(l, from->span, RL_MSG_EV_SPAN_FORK, load, from->text, every_text(l, f->subject, 0, true));
        break;
    case RL_STRETCH_WAYS: ev_fault(l, at, RL_MSG_EV_SPAN_WAYS, load, NULL, NULL); break;
    case RL_STRETCH_END:
        ev_fault(l, at, RL_MSG_EV_SPAN_END, load, every_text(l, f->subject, 1, false), NULL);
        break;
    }
}

/* Every element that the span holds must have both joint laws. */
static void joints(ev_line *l, const rl_stretch *stretch)
{
    for (int w = 0; w < stretch->ways; w++) {
        for (int i = 0; i < stretch->way[w].count; i++) {
            const rl_node *node = &l->model->node[stretch->way[w].element[i]];
            if (node->sound.median > 0 && node->corroded.median > 0)
                continue;
            ev_fault(l, l->stmt->span, RL_MSG_EV_NO_JOINT, node->info.id, NULL, NULL);
            return;
        }
    }
}

/* Default ends are never kept: they mean the same unwritten. */
static void drop_default_ends(ev_line *l)
{
    rl_finding *f = l->finding;
    const rl_node *load = &l->model->node[f->subject];
    if (f->from == load->info.wire)
        f->from = -1;
    if (is_dead(f->sort) && f->to >= 0 && f->to == rl_last_element(l->model, f->subject))
        f->to = -1;
}

static void span(ev_line *l)
{
    rl_finding *f = l->finding;
    const ast_word *from = end_word(l, AST_C_FROM), *to = end_word(l, AST_C_TO);
    f->from = end_element(l, from);
    f->to = end_element(l, to);
    if (f->subject < 0 || (from && f->from < 0) || (to && f->to < 0))
        return;
    rl_mark before = rl_arena_mark(l->scratch);
    rl_stretch stretch;
    rl_stretch_fault fault = rl_stretch_make(l->scratch, l->model, f->subject, f->from, f->to, is_dead(f->sort),
                                             &stretch);
    if (fault == RL_STRETCH_OK)
        joints(l, &stretch);
    else
        span_fault(l, fault, from, to);
    drop_default_ends(l);
    rl_arena_rewind(l->scratch, before);
}

/* ---- currents ---- */

static double current(const ev_line *l, int load)
{
    return l->model->node[load].info.current;
}

static bool also_twice(const ast_word *list, const ast_word *word)
{
    while (list != word && strcmp(list->text, word->text) != 0)
        list = list->next;
    return list != word;
}

static void also_load(ev_line *l, const ast_word *list, const ast_word *word, int *also)
{
    int load = ev_load(l, word);
    if (load < 0)
        return;
    if (load == l->finding->subject)
        ev_fault(l, word->span, RL_MSG_EV_ALSO_SELF, word->text, NULL, NULL);
    else if (also_twice(list, word))
        ev_fault(l, word->span, RL_MSG_EV_ALSO_TWICE, word->text, NULL, NULL);
    else if (current(l, load) <= 0)
        ev_fault(l, word->span, RL_MSG_EV_CURRENT, word->text, NULL, NULL);
    also[l->finding->also_count++] = load;
}

static void currents(ev_line *l)
{
    rl_finding *f = l->finding;
    const ast_clause *at = ev_clause(l->stmt, AST_C_AT), *clause = ev_clause(l->stmt, AST_C_ALSO);
    if (at != NULL)
        ev_quantity(l, at->number, AST_AMPERE, "the current after `at`", "A or mA", 1e-9, 1e6, &f->at);
    else if (f->subject >= 0 && current(l, f->subject) <= 0)
        ev_fault(l, l->stmt->name->span, RL_MSG_EV_CURRENT_AT, l->stmt->name->text, NULL, NULL);
    int count = 0;
    for (const ast_word *word = clause ? clause->words : NULL; word != NULL; word = word->next)
        count++;
    int *also = rl_many(l->arena, count, int);
    for (const ast_word *word = clause ? clause->words : NULL; word != NULL; word = word->next)
        also_load(l, clause->words, word, also);
    f->also = also;
}

/* ---- the four readings ---- */

/* A voltage above the supply, or below 0, by more than the meter can be off. */
static void voltage_range(ev_line *l)
{
    const rl_finding *f = l->finding;
    const rl_vehicle *vehicle = &l->model->vehicle;
    const rl_meter *volts = &l->model->volts;
    double battery = l->c->occasion[f->occasion].battery;
    double source = battery > 0 ? battery : vehicle->supply;
    assert(l->model->volts.given && source > 0);
    double meter_sigma = volts->share * f->value + volts->plus;
    double supply_sigma = battery > 0 ? 0 : vehicle->supply_spread * f->value;
    if (f->value > source + EV_SIGMAS * sqrt(meter_sigma * meter_sigma + supply_sigma * supply_sigma))
        rl_say(l->diag, l->stmt->number->span, RL_MSG_EV_ABOVE_SUPPLY, l->stmt->number->text, NULL, NULL);
    if (f->value < -EV_SIGMAS * volts->plus)   /* no true value is below 0 */
        rl_say(l->diag, l->stmt->number->span, RL_MSG_EV_BACKWARD, NULL, NULL, NULL);
}

static void volts(ev_line *l, const char *what)
{
    double value = 0;
    if (ev_quantity(l, l->stmt->number, AST_VOLT, what, "V or mV", -1e6, 1e6, &value)) {
        l->finding->value = value;
        voltage_range(l);
    }
}

static void drop(ev_line *l)
{
    span(l);
    currents(l);
    volts(l, "a drop");
}

static void supply(ev_line *l)
{
    int load = l->finding->subject;
    volts(l, "a supply");
    if (load < 0 || l->model->node[load].feed_chain_count == 0)
        return;
    if (current(l, load) <= 0)
        ev_fault(l, l->stmt->name->span, RL_MSG_EV_CURRENT, l->stmt->name->text, NULL, NULL);
    if (l->model->sound.median <= 0 || l->model->corroded.median <= 0)
        ev_fault(l, l->stmt->span, RL_MSG_EV_NO_JOINTS, NULL, NULL, NULL);
}

static void resistance(ev_line *l)
{
    const ast_number *number = l->stmt->number;
    span(l);
    l->finding->open = number == NULL;
    if (number == NULL ||
        !ev_quantity(l, number, AST_OHM, "a resistance", "ohm, mohm or kohm", -1e12, 1e12, &l->finding->value))
        return;
    if (l->finding->value < -EV_SIGMAS * l->model->ohms.plus)   /* no true value is below 0: more than its error */
        rl_say(l->diag, number->span, RL_MSG_EV_NEGATIVE, NULL, NULL, NULL);
}

static void continuity(ev_line *l)
{
    span(l);
    l->finding->value = strcmp(l->stmt->outcomes->text, "beeps") == 0;
}

void ev_reading(ev_line *l)
{
    rl_finding *f = l->finding;
    f->subject = ev_load(l, l->stmt->name);
    switch (l->stmt->sort) {
    case AST_DROP: f->sort = RL_E_DROP; break;
    case AST_SUPPLY: f->sort = RL_E_SUPPLY; break;
    case AST_RESISTANCE: f->sort = RL_E_RESISTANCE; break;
    default: f->sort = RL_E_CONTINUITY;
    }
    if (!meter(l))
        return;
    switch (f->sort) {
    case RL_E_DROP: drop(l); break;
    case RL_E_SUPPLY: supply(l); break;
    case RL_E_RESISTANCE: resistance(l); break;
    default: continuity(l);
    }
}

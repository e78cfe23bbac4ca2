/* evidence_seen.c: what was seen of a load, a symptom or a joint.
 *
 * Invariant: `weight` of a good line has one number from 0 to 1 for each
 * outcome, and P(what was seen) is the sum of weight x P(outcome).
 */
#include "evidence.h"
#include "paths.h"

#include <assert.h>
#include <string.h>

static const char *const presence[] = { "absent", "present" };

/* ---- outcomes ---- */

typedef struct outcomes {
    const char *of;            /* "level of kind `lamp`" */
    const char *const *text;
    size_t count;
} outcomes;

/* "normal, flickers, dim, dead" */
static rl_text list_of(ev_line *l, const outcomes *set)
{
    rl_text list = { .arena = l->scratch };
    for (size_t i = 0; i < set->count; i++) {
        rl_put(&list, i > 0 ? ", " : "");
        rl_put(&list, set->text[i]);
    }
    return list;
}

/* ": normal, flickers, dim, dead; did you mean `dim`?" */
static void unknown_outcome(ev_line *l, const ast_word *word, const outcomes *set)
{
    rl_text list = list_of(l, set);
    const char *near = rl_nearest(word->text, set->text, set->count);
    if (near != NULL) {
        rl_put(&list, "; did you mean `");
        rl_put(&list, near);
        rl_put(&list, "`?");
    }
    ev_fault(l, word->span, RL_MSG_EV_OUTCOME, word->text, set->of, list.bytes);
}

static size_t outcome_index(const outcomes *set, const char *text)
{
    size_t i = 0;
    while (i < set->count && strcmp(set->text[i], text) != 0)
        i++;
    return i;
}

/* Marks the outcomes named; returns how many. */
static size_t named_outcomes(ev_line *l, const outcomes *set, bool *named)
{
    size_t count = 0;
    for (const ast_word *word = l->stmt->outcomes; word != NULL; word = word->next) {
        size_t i = outcome_index(set, word->text);
        if (i == set->count) {
            unknown_outcome(l, word, set);
            continue;
        }
        if (named[i])
            ev_fault(l, word->span, RL_MSG_EV_OUTCOME_TWICE, word->text, NULL, NULL);
        named[i] = true;
        count++;
    }
    return count;
}

/* How sure the line is: its own `sure`, else the occasion's `said`. */
static double sureness(ev_line *l)
{
    double sure = l->c->occasion[l->finding->occasion].said;
    const ast_clause *clause = ev_clause(l->stmt, AST_C_SURE);
    if (clause != NULL && ev_probability(l, clause->number, &sure) && sure < 0.5)
        rl_say(l->diag, clause->number->span, RL_MSG_EV_SURE_LOW, clause->number->text, NULL, NULL);
    return sure;
}

static void weigh(ev_line *l, const outcomes *set)
{
    bool *named = rl_many(l->scratch, set->count, bool);
    double *weight = rl_many(l->arena, set->count, double);
    size_t count = named_outcomes(l, set, named);
    double sure = sureness(l);
    assert(sure >= 0 && sure <= 1);
    if (!l->bad && count == set->count && l->stmt->negated)
        ev_fault(l, l->stmt->outcomes->span, RL_MSG_EV_OUTCOME_NONE, NULL, NULL, NULL);
    else if (!l->bad && count == set->count)
        rl_say(l->diag, l->stmt->outcomes->span, RL_MSG_EV_OUTCOME_ALL, NULL, NULL, NULL);
    for (size_t i = 0; i < set->count; i++)
        weight[i] = named[i] != l->stmt->negated ? sure : 1 - sure;
    l->finding->weight = weight;
    l->finding->weights = (int)set->count;
    l->finding->first_named = named[0] != l->stmt->negated;
}

static const char *of_what(ev_line *l, const char *what, const char *name)
{
    rl_text text = { .arena = l->scratch };
    rl_put(&text, what);
    rl_put(&text, " `");
    rl_put(&text, name);
    rl_put(&text, "`");
    return text.bytes;
}

/* ---- conditions ---- */

/* Puts an element in its place among `count` ascending ones; false if it is there. */
static bool insert(int *list, int *count, int element)
{
    int i = *count;
    while (i > 0 && list[i - 1] > element)
        i--;
    if (i > 0 && list[i - 1] == element)
        return false;
    memmove(&list[i + 1], &list[i], (size_t)(*count - i) * sizeof *list);
    assert(i == *count || list[i] > element);
    list[i] = element;
    ++*count;
    return true;
}

/* Of several `bypass at` the first toward the battery mends what the others do; all have to be got at. */
static void bypass_at(ev_line *l, const ast_condition *condition, int element, int *list, rl_conditions *out)
{
    const rl_node *load = &l->model->node[l->finding->subject];
    if (!rl_on_every(l->model, l->finding->subject, element)) {
        ev_fault(l, condition->element->span, RL_MSG_EV_BYPASS_AT, condition->element->text, load->info.id, NULL);
        return;
    }
    int i = 0;
    while (load->on_every[i] != element && load->on_every[i] != out->bypass_at)
        i++;
    out->bypass_at = load->on_every[i];
    insert(list, &out->cut_count, element);
}

static bool same_condition(const ast_condition *a, const ast_condition *b)
{
    return a->sort == b->sort && (a->element == NULL || strcmp(a->element->text, b->element->text) == 0);
}

static bool condition_twice(ev_line *l, const ast_clause *with, const ast_condition *condition)
{
    for (const ast_condition *c = with->conditions; c != condition; c = c->next) {
        if (!same_condition(c, condition))
            continue;
        ev_fault(l, condition->span, RL_MSG_EV_CONDITION_TWICE, NULL, NULL, NULL);
        return true;
    }
    return false;
}

static void one_condition(ev_line *l, const ast_condition *condition, int *repaired, int *cut, rl_conditions *out)
{
    int element = condition->element == NULL ? -1 : ev_element(l, condition->element, RL_NAME_ELEMENT);
    switch (condition->sort) {
    case AST_BYPASS: out->bypass = true; break;
    case AST_SWAP: out->swap = true; break;
    case AST_JUMPER: out->jumper = true; break;
    case AST_BYPASS_AT:
        if (element >= 0)
            bypass_at(l, condition, element, cut, out);
        break;
    case AST_REPAIRED:
        if (element >= 0)
            insert(repaired, &out->repaired_count, element);
        break;
    }
}

void ev_conditions(ev_line *l, const ast_clause *with, rl_conditions *out)
{
    int count = 0;
    for (const ast_condition *c = with->conditions; c != NULL; c = c->next)
        count++;
    int *repaired = rl_many(l->arena, count, int), *cut = rl_many(l->arena, count, int);
    out->repaired = repaired;
    out->cut = cut;
    for (const ast_condition *c = with->conditions; c != NULL; c = c->next)
        if (!condition_twice(l, with, c))
            one_condition(l, c, repaired, cut, out);
}

/* A condition on what the load's path does not pass changes nothing. */
static void idle_conditions(ev_line *l, const ast_clause *with)
{
    const rl_node *load = &l->model->node[l->finding->subject];
    rl_mark before = rl_arena_mark(l->scratch);
    bool *passed = rl_many(l->scratch, l->model->nodes, bool);
    rl_mark_load(l->scratch, l->model, l->finding->subject, passed);
    for (const ast_condition *c = with->conditions; c != NULL; c = c->next) {
        if (c->sort == AST_REPAIRED && !passed[rl_find_element(l->model, c->element->text)])
            rl_say(l->diag, c->span, RL_MSG_EV_CONDITION_IDLE, load->info.id, c->element->text, NULL);
        if (c->sort == AST_JUMPER && load->feed.parent < 0 && load->feed.via_count == 0)
            rl_say(l->diag, c->span, RL_MSG_EV_JUMPER_IDLE, load->info.id, NULL, NULL);
    }
    rl_arena_rewind(l->scratch, before);
}

/* ---- the three sorts of line that begin with a name ---- */

static void behaviour(ev_line *l, int load)
{
    rl_finding *f = l->finding;
    assert(l->model->node[load].info.kind >= 0);   /* a load without a kind is no model */
    const rl_kind *kind = &l->model->kind[l->model->node[load].info.kind].info;
    outcomes set = { of_what(l, "level of kind", kind->id), kind->level, kind->levels };
    const ast_clause *with = ev_clause(l->stmt, AST_C_WITH);
    f->sort = RL_E_BEHAVIOUR;
    f->subject = load;
    if (l->stmt->name2 != NULL)
        ev_fault(l, l->stmt->name2->span, RL_MSG_EV_SECOND_NAME, l->stmt->name->text, "a load", NULL);
    else
        weigh(l, &set);
    if (with == NULL)
        return;
    ev_conditions(l, with, &f->with);
    if (!l->bad)
        idle_conditions(l, with);
}

static void symptom(ev_line *l, int sign)
{
    outcomes set = { of_what(l, "outcome of symptom", l->model->sign[sign].info.id), presence, 2 };
    l->finding->sort = RL_E_SYMPTOM;
    l->finding->named = sign;
    if (l->stmt->name2 != NULL)
        ev_fault(l, l->stmt->name2->span, RL_MSG_EV_SECOND_NAME, l->stmt->name->text, "a symptom", NULL);
    else
        weigh(l, &set);
}

/* "point, splice or wire" */
static const char *sorts_text(ev_line *l, unsigned sorts)
{
    rl_text text = { .arena = l->scratch };
    for (int sort = 0; sort < RL_SORTS; sort++) {
        if (!(sorts >> sort & 1u))
            continue;
        rl_put(&text, text.length == 0 ? "" : sorts >> sort == 1u ? " or " : ", ");
        rl_put(&text, rl_sort_text((rl_sort)sort));
    }
    return text.bytes;
}

/* "`x` is none"; of a load its wire is named where wires are looked at. */
static const char *other_sort(ev_line *l, int element, unsigned sorts)
{
    const rl_element *info = &l->model->node[element].info;
    bool wire = info->wire >= 0 && (sorts >> RL_WIRE & 1u);
    rl_text text = { .arena = l->scratch };
    rl_put(&text, "`");
    rl_put(&text, info->id);
    rl_put(&text, wire ? "` is a load; did you mean `" : "` is none");
    if (wire) {
        rl_put(&text, l->model->node[info->wire].info.id);
        rl_put(&text, "`?");
    }
    return text.bytes;
}

/* The names of elements of these sorts. */
static unsigned names_in(unsigned sorts)
{
    static const unsigned name[RL_SORTS] = {
        [RL_POINT] = RL_NAME_JOINT, [RL_SPLICE] = RL_NAME_JOINT, [RL_CONNECTOR] = RL_NAME_JOINT,
        [RL_WIRE] = RL_NAME_WIRE, [RL_FEED] = RL_NAME_FEED, [RL_LOAD] = RL_NAME_LOAD,
    };
    unsigned names = 0;
    for (unsigned sort = 0; sort < RL_SORTS; sort++)
        if (sorts >> sort & 1u)
            names |= name[sort];
    return names;
}

/* `look rear`: the name of the element or what was seen there is missing. */
static void half_inspection(ev_line *l, const rl_inspection *info, const outcomes *set)
{
    const ast_word *word = l->stmt->outcomes;
    int element = word != NULL && word->next == NULL ? rl_find_element(l->model, word->text) : -1;
    if (element >= 0 && outcome_index(set, word->text) == set->count)
        ev_fault(l, word->span, RL_MSG_EV_LOOK_WHAT, info->id, word->text, list_of(l, set).bytes);
    else
        ev_fault(l, l->stmt->name->span, RL_MSG_EV_LOOK_WHERE, info->id, sorts_text(l, info->sorts), NULL);
}

static void inspection(ev_line *l, int look)
{
    const rl_inspection *info = &l->model->look[look].info;
    outcomes set = { of_what(l, "outcome of inspection", info->id), info->outcome, info->outcomes };
    const ast_word *name = l->stmt->name2;
    l->finding->sort = RL_E_INSPECTION;
    l->finding->named = look;
    if (name == NULL) {
        half_inspection(l, info, &set);
        return;
    }
    int element = l->finding->subject = ev_element(l, name, names_in(info->sorts));
    if (element >= 0 && !(info->sorts >> l->model->node[element].info.sort & 1u))
        ev_fault(l, name->span, RL_MSG_EV_LOOK_SORT, info->id, sorts_text(l, info->sorts),
                 other_sort(l, element, info->sorts));
    weigh(l, &set);
}

/* What was probably meant: something that is seen, unless a joint or feed is nearer by name. */
static const char *meant_to_see(ev_line *l, const char *text)
{
    enum { SEEN = RL_NAME_LOAD | RL_NAME_SYMPTOM | RL_NAME_INSPECTION, REST = RL_NAME_JOINT | RL_NAME_WIRE | RL_NAME_FEED };
    const char *both[2];
    size_t count = 0;
    if (rl_diag_full(l->diag))
        return "";
    both[0] = rl_nearest_name(l->scratch, l->model, text, SEEN);
    count += both[0] != NULL;
    both[count] = rl_nearest_name(l->scratch, l->model, text, REST);
    count += both[count] != NULL;
    const char *near = rl_nearest(text, both, count);   /* of two as near, the first */
    int element = near == NULL ? -1 : rl_find_element(l->model, near);
    if (element < 0 || l->model->node[element].info.sort == RL_LOAD)
        return ev_hint(l, text, SEEN);
    rl_text hint = { .arena = l->scratch };
    rl_put(&hint, "; did you mean ");
    rl_put(&hint, rl_sort_text(l->model->node[element].info.sort));
    rl_put(&hint, " `");
    rl_put(&hint, near);
    rl_put(&hint, "`, with the name of an inspection before it?");
    return hint.bytes;
}

static void not_seen(ev_line *l)
{
    const ast_word *name = l->stmt->name;
    int element = rl_find_element(l->model, name->text);
    if (element >= 0)
        ev_fault(l, name->span, RL_MSG_EV_JOINT_SEEN, name->text, rl_sort_text(l->model->node[element].info.sort),
                 NULL);
    else
        ev_fault(l, name->span, RL_MSG_EV_UNKNOWN, name->text, meant_to_see(l, name->text), NULL);
}

void ev_seen(ev_line *l)
{
    const char *name = l->stmt->name->text;
    int load = rl_find_load(l->model, name);
    int sign = rl_find_symptom(l->model, name), look = rl_find_inspection(l->model, name);
    const ast_clause *with = ev_clause(l->stmt, AST_C_WITH);
    if (load >= 0)
        behaviour(l, load);
    else if (sign >= 0)
        symptom(l, sign);
    else if (look >= 0)
        inspection(l, look);
    else
        not_seen(l);
    if (with != NULL && (sign >= 0 || look >= 0))
        ev_fault(l, with->span, RL_MSG_EV_CONDITION_PLACE, NULL, NULL, NULL);
}

void ev_crosstalk(ev_line *l)
{
    bool pull = l->stmt->sort == AST_PULL;
    const ast_clause *to = ev_clause(l->stmt, AST_C_TO);
    outcomes set = { pull ? "outcome of a pull" : "outcome of a backfeed", presence, 2 };
    const rl_crosstalk *rule = pull ? &l->model->pull : &l->model->backfeed;
    rl_finding *f = l->finding;
    f->sort = pull ? RL_E_PULL : RL_E_BACKFEED;
    if (!rule->given)
        ev_fault(l, l->stmt->span, RL_MSG_EV_NO_STATEMENT, pull ? "pull" : "backfeed", NULL, NULL);
    f->subject = ev_load(l, l->stmt->name);
    f->other = ev_load(l, to->words);
    if (f->subject >= 0 && f->subject == f->other)
        ev_fault(l, to->words->span, RL_MSG_EV_SAME_LOAD, l->stmt->name->text, NULL, NULL);
    weigh(l, &set);
}

/* audit_rows.c: rows of kinds that contradict physics, or each other.
 *
 * A row may not be milder than that of a less severe state or a smaller loss:
 * at no level may it leave more at or below it.  What is loose comes and goes,
 * so that corrosion is held against it only where it is milder at every level.
 *
 * Invariant: one problem for each pair of rows, at the level where it is worst.
 */
#include "audit.h"

#include <assert.h>
#include <math.h>

static const double ROUNDING = 1e-9;    /* of sums of a row */
static const double DOUBT = 0.2;        /* by how much a row given outright may differ from physics */
static const double USUAL_LOSS = 0.1;   /* V: a customary drop, that no load minds */

typedef struct checker {
    rl_audit *audit;
    const rl_model *model;
    int kind;
    rl_growing problems;
} checker;

/* A row and what it is called. */
typedef struct named { const char *name; const double *row; } named;

static const rl_behaviour *kind_of(const checker *c)
{
    return &c->model->kind[c->kind];
}

static const char *name_of_loss(checker *c, double volts)
{
    rl_text text = {.arena = &c->audit->arena};
    rl_put(&text, "short of ");
    rl_put_number(&text, volts, 6);
    rl_put(&text, " V");
    return text.bytes;
}

/* "when open", or "when return open" where the sides have rows of their own. */
static const char *name_of_state(checker *c, int side, rl_state state)
{
    const rl_behaviour *kind = kind_of(c);
    rl_text text = {.arena = &c->audit->arena};
    rl_put(&text, "when ");
    if (kind->row[0][state] != kind->row[1][state])
        rl_put(&text, side == 0 ? "return " : "feed ");
    rl_put(&text, rl_state_text(state));
    return text.bytes;
}

static rl_row_problem *add(checker *c, rl_row_sort sort, const char *row, const char *than)
{
    const rl_behaviour *kind = kind_of(c);
    rl_row_problem *p = rl_grow(&c->audit->arena, &c->problems, sizeof *p);
    *p = (rl_row_problem){.sort = sort, .kind = (size_t)c->kind, .row = row, .than = than, .load = -1,
                          .path = c->model->source[kind->span.source], .line = kind->span.line};
    return p;
}

/* The graver row against the lesser; `everywhere`: a complaint only if it is milder at every level. */
static void compare(checker *c, named graver, named lesser, bool everywhere)
{
    double sum = 0, other = 0, worst = ROUNDING, at = 0, beside = 0;
    size_t level = 0, levels = kind_of(c)->info.levels;
    bool mixed = false;
    for (size_t l = 0; l + 1 < levels; l++) {
        sum += graver.row[l];
        other += lesser.row[l];
        mixed = mixed || sum < other - ROUNDING;
        if (sum - other <= worst)
            continue;
        worst = sum - other;
        level = l;
        at = sum;
        beside = other;
    }
    if (worst <= ROUNDING || (everywhere && mixed))
        return;
    rl_row_problem *p = add(c, RL_ROW_MILDER, graver.name, lesser.name);
    p->level = level;
    p->p = at;
    p->other = beside;
}

static void compare_losses(checker *c)
{
    const rl_behaviour *kind = kind_of(c);
    for (int i = 1; i < kind->shortfalls; i++) {
        const rl_shortfall *less = &kind->shortfall[i - 1], *more = &kind->shortfall[i];
        compare(c, (named){name_of_loss(c, more->volts), more->row}, (named){name_of_loss(c, less->volts), less->row},
                false);
    }
}

/* Loose, corroded, open of one side. */
static void compare_states(checker *c, int side)
{
    const rl_behaviour *kind = kind_of(c);
    const double *const *row = kind->row[side];
    static const double first[RL_MAX_LEVELS] = {1};   /* what has no row draws the first level */
    named loose = {NULL, row[RL_LOOSE]}, corroded = {NULL, row[RL_CORRODED]};
    named open = {name_of_state(c, side, RL_OPEN), row[RL_OPEN] ? row[RL_OPEN] : first};
    if (loose.row)
        loose.name = name_of_state(c, side, RL_LOOSE);
    if (corroded.row) {
        corroded.name = name_of_state(c, side, RL_CORRODED);
    } else if (kind->shortfalls > 0) {
        const rl_shortfall *most = &kind->shortfall[kind->shortfalls - 1];
        corroded = (named){name_of_loss(c, most->volts), most->row};
    }
    if (corroded.row)
        compare(c, open, corroded, false);
    if (loose.row)
        compare(c, open, loose, false);
    if (row[RL_CORRODED] && loose.row)
        compare(c, corroded, loose, true);
}

/* ---- what corrosion costs a load ---- */

/* P(the default corroded joint costs a load of this current less than so many volts). */
static double costs_less(const rl_model *m, double current, double volts)
{
    double supply = m->vehicle.supply;
    return volts < supply ? rl_law_mass(m->corroded, 0, volts * (supply / current) / (supply - volts)) : 1;
}

/* A row given outright against physics: normal less often than corrosion costs
 * too little to be seen, or more often than it leaves half of the supply. */
static void weigh_load(checker *c, int side, int load, double *worst, rl_row_problem *out)
{
    const rl_behaviour *kind = kind_of(c);
    double current = c->model->node[load].info.current, normal = kind->row[side][RL_CORRODED][0];
    double loss = kind->shortfalls > 0 ? kind->shortfall[0].volts : USUAL_LOSS;
    double unseen = costs_less(c->model, current, loss);
    double bearable = costs_less(c->model, current, c->model->vehicle.supply / 2);
    if (unseen - normal > *worst) {
        *worst = unseen - normal;
        *out = (rl_row_problem){.sort = RL_ROW_HARSH, .p = normal, .other = unseen, .load = load};
    }
    if (normal - bearable > *worst) {
        *worst = normal - bearable;
        *out = (rl_row_problem){.sort = RL_ROW_LENIENT, .p = normal, .other = bearable, .load = load};
    }
}

/* The load of the kind that speaks loudest against the row. */
static void weigh_row(checker *c, int side)
{
    const rl_behaviour *kind = kind_of(c);
    double worst = DOUBT;
    rl_row_problem found = {.load = -1};
    bool both = kind->row[0][RL_CORRODED] == kind->row[1][RL_CORRODED];
    if (!kind->row[side][RL_CORRODED] || c->model->corroded.median <= 0 || (side == 1 && both))
        return;
    for (int e = 0; e < c->model->nodes; e++) {
        const rl_element *info = &c->model->node[e].info;
        if (info->sort == RL_LOAD && info->kind == c->kind && info->current > 0)
            weigh_load(c, side, e, &worst, &found);
    }
    if (found.load < 0)
        return;
    rl_row_problem *p = add(c, found.sort, name_of_state(c, side, RL_CORRODED), NULL);
    p->p = found.p;
    p->other = found.other;
    p->load = found.load;
}

static bool in_use(const rl_model *m, int kind)
{
    for (int e = 0; e < m->nodes; e++)
        if (m->node[e].info.sort == RL_LOAD && m->node[e].info.kind == kind)
            return true;
    return false;
}

void rl_audit_rows(rl_audit *audit)
{
    checker c = {.audit = audit, .model = audit->model};
    for (c.kind = 0; c.kind < c.model->kinds; c.kind++) {
        const rl_behaviour *kind = kind_of(&c);
        assert(kind->info.levels >= 1);
        if (!in_use(c.model, c.kind))   /* a trade's file has kinds that this vehicle does not */
            continue;
        compare_losses(&c);
        compare_states(&c, 0);
        bool same = true;
        for (int s = RL_LOOSE; s <= RL_OPEN; s++)
            same = same && kind->row[0][s] == kind->row[1][s];
        if (!same)
            compare_states(&c, 1);
        weigh_row(&c, 0);
        weigh_row(&c, 1);
    }
    audit->report.problem = c.problems.at;
    audit->report.problems = c.problems.count;
}

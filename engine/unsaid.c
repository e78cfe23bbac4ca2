/* unsaid.c: all lines in one network, and each of them taken out of it (unsaid.h).
 *
 * Each line keeps factors of its own in the draft.  Where it is not said their cells
 * are 1, so that they speak of nothing; a load that `others` would then
 * reach has that said of it by factors that are 1 as long as its own line is there.
 *
 * Invariant: the draft has the same factors whatever is left out, and but for the
 * one line at hand they hold what was said.
 */
#include "unsaid.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* Two passes of a network, up and down, in passes up that each line by itself would take. */
static const double PASSES_COST = 4;
/* Cells of a network that is gone through in no time. */
static const double NEVER_DEAR = 1e5;

/* A line's own places in the draft, first to end - 1, and what stands there where it is not said. */
typedef struct said {
    int own, own_end;
    const double **row;
    int factor, factor_end;
    double **cell;
    double state[RL_STATES];   /* of an inspection: what its element's states weigh */
    rl_network unsaid;         /* of the draft without the line; net NULL: it does not serve */
} said;

typedef struct board {
    const rl_case *c;
    rl_arena *arena;
    int element;               /* the suspect */
    rl_bench *lines;           /* of no line: its draft is filled here */
    rl_bench bench;            /* of that draft */
    said *said;                /* by line */
    const double *ones;        /* as long as a row */
    bool *left_out;            /* by line: room */
} board;

const double *rl_bench_held(const rl_bench *bench, rl_arena *arena, int element, bool sound)
{
    const rl_node *node = &bench->frame.model->node[element];
    int base = rl_bench_base(bench, element);
    rl_mask mask = bench->network.mask[base];
    int size = rl_expr_size(&bench->exprs, base, mask);
    double *weight = rl_many(arena, size, double), *part = rl_many(arena, size, double);
    if (node->info.sort == RL_LOAD) {
        weight[sound ? 0 : 1] = 1;
        return weight;
    }
    for (int s = RL_SOUND; s <= RL_OPEN; s++) {
        if ((s == RL_SOUND) != sound)
            continue;
        rl_frame_clamp(&bench->frame, mask, node, bench->draft.state[element], (rl_state)s, part);
        for (int v = 0; v < size; v++)
            weight[v] += part[v];
    }
    return weight;
}

static bool counts(const rl_finding *f)
{
    return f->sort <= RL_E_OTHERS && !f->line.replaced;
}

/* Whether it has factors of its own. */
static bool is_apart(const rl_finding *f)
{
    return counts(f) && f->sort != RL_E_OTHERS;
}

/* ---- what stands there without a line ---- */

static double *ones(rl_arena *arena, size_t count)
{
    double *out = rl_arena_raw(arena, count * sizeof *out);
    for (size_t i = 0; i < count; i++)
        out[i] = 1;
    return out;
}

/* What an element's states weigh without one of the looks at it. */
static void states_without(const board *b, const rl_finding *but, double *state)
{
    const rl_case *c = b->c;
    memcpy(state, c->model->node[but->subject].info.prior, RL_STATES * sizeof *state);
    for (int i = 0; i < c->findings; i++) {
        const rl_finding *f = c->finding[i];
        if (f == but || f->sort != RL_E_INSPECTION || f->line.replaced || f->subject != but->subject ||
            rl_world_forces(rl_observe_world(&b->lines->observer, f->occasion, NULL), f->subject))
            continue;
        double seen[RL_STATES];
        rl_observe_seen(c->model, f, seen);
        for (int s = 0; s < RL_STATES; s++)
            state[s] *= seen[s];
    }
}

/* ---- the draft ---- */

/* Observes lines with owns and factors of their own. */
static void observe(const board *b, const rl_case *c, const bool *left_out)
{
    rl_observer o = b->lines->observer;
    o.kase = c;
    o.left_out = left_out;
    o.forgotten = false;
    o.draft->slots = 0;   /* what another line says of the same expression stays apart */
    rl_observe_all(&o);
}

/* All `others` lines at once: a load is one of the others but once. */
static void observe_others(const board *b)
{
    for (int i = 0; i < b->c->findings; i++)
        b->left_out[i] = b->c->finding[i]->sort != RL_E_OTHERS;
    observe(b, b->c, b->left_out);
    for (int i = 0; i < b->c->findings; i++)
        b->left_out[i] = true;
}

static bool reaches(const rl_model *model, const rl_finding *others, int load)
{
    return others->subject < 0 || rl_passes(model, model->node[load].info.wire, others->subject);
}

/* Whether the load of a behaviour's line would be one of the others without it. */
static bool is_one_of_others(const rl_case *c, int line)
{
    const rl_finding *f = c->finding[line];
    bool reached = false;
    for (int i = 0; i < c->findings; i++) {
        const rl_finding *g = c->finding[i];
        if (i == line || !counts(g) || g->occasion != f->occasion)
            continue;
        if (g->sort == RL_E_BEHAVIOUR && g->subject == f->subject)
            return false;
        reached = reached || (g->sort == RL_E_OTHERS && reaches(c->model, g, f->subject));
    }
    return reached;
}

/* Adds that the load works, as the others do. */
static void observe_as_others(const board *b, const rl_finding *f)
{
    static const double first[RL_MAX_LEVELS] = {1};
    rl_finding works = {.sort = RL_E_BEHAVIOUR, .occasion = f->occasion, .subject = f->subject, .weight = first,
                        .with = {.bypass_at = -1}};
    rl_finding *one = &works;
    rl_case alone = *b->c;
    alone.finding = &one;
    alone.findings = 1;
    observe(b, &alone, NULL);
}

static void multiply_row(rl_cells *table, double *cell, int at, const double *row)
{
    size_t inner = 1, cells = rl_cells_count(table);
    for (int i = at + 1; i < table->count; i++)
        inner *= (size_t)table->size[i];
    for (size_t i = 0; i < cells; i++)
        cell[i] *= row[i / inner % (size_t)table->size[at]];
}

/* What stands in for one of the line's factors takes what an own says; false: none has its expression. */
static bool take_into_factor(const board *b, const said *s, const rl_own *own)
{
    rl_draft *draft = &b->lines->draft;
    for (int f = s->factor; f < s->factor_end; f++)
        for (int i = 0; i < draft->factor[f].count; i++)
            if (draft->factor[f].input[i] == own->expr && draft->factor[f].bit == own->bit) {
                multiply_row(&draft->factor[f], s->cell[f - s->factor], i, own->row);
                return true;
            }
    return false;
}

static bool take_into_own(const board *b, const said *s, const rl_own *own)
{
    rl_draft *draft = &b->lines->draft;
    for (int i = s->own; i < s->own_end; i++)
        if (draft->own[i].expr == own->expr && draft->own[i].bit == own->bit) {
            s->row[i - s->own] = own->row;
            return true;
        }
    return false;
}

/* Where the line is not said its load is one of the others: that stands in the line's own
 * factors where these speak of the same paths, else beside them. */
static void stand_in_as_others(const board *b, const rl_finding *f, said *s)
{
    rl_draft *draft = &b->lines->draft;
    int first = draft->owns;
    observe_as_others(b, f);
    assert(draft->factors == s->factor_end);   /* a load that works couples nothing */
    int end = draft->owns;
    draft->owns = first;
    for (int i = first; i < end; i++) {
        rl_own own = draft->own[i];
        if (take_into_factor(b, s, &own) || take_into_own(b, s, &own))
            continue;
        s->row[draft->owns - s->own] = own.row;
        own.row = b->ones;
        draft->own[draft->owns++] = own;
    }
    s->own_end = draft->owns;
}

enum { MOST_OWNS_MORE = 3 };   /* a working load: its return, its feed, itself */

static void stand_in(const board *b, const rl_finding *f, said *s)
{
    const rl_draft *draft = &b->lines->draft;
    s->row = rl_many(b->arena, s->own_end - s->own + MOST_OWNS_MORE, const double *);
    s->cell = rl_many(b->arena, s->factor_end - s->factor + 1, double *);
    for (int i = s->own; i < s->own_end; i++)
        s->row[i - s->own] = b->ones;
    for (int i = s->factor; i < s->factor_end; i++)
        s->cell[i - s->factor] = ones(b->arena, rl_cells_count(&draft->factor[i]));
    if (f->sort == RL_E_INSPECTION)
        states_without(b, f, s->state);
}

/* ---- a behaviour that couples its causes ---- */

/* (level that the rest of the causes drew, return): what the weighed levels come to. */
static rl_cells return_table(const board *b, const rl_finding *f, int helper, int expr, const double *weight)
{
    const rl_rows *rows = b->c->model->rows->of_load[f->subject];
    int levels = (int)b->c->model->kind[rows->kind].info.levels, size = b->lines->frame.rows;
    rl_cells t = {.count = 2, .input = {helper, expr}, .size = {levels, size}};
    rl_cells_take(b->arena, &t);
    for (int v = 0; v < size; v++) {
        const double *row = rows->side[0][rl_observe_row(&b->lines->frame, v)];
        for (int rest = 0; rest < levels; rest++)
            for (int l = 0; l < levels; l++)
                t.cell[rest * size + v] += weight[l > rest ? l : rest] * row[l];
    }
    return t;
}

/* (level, feed, load): how the rest draws the level. */
static rl_cells rest_table(const board *b, const rl_finding *f, int helper, int fed, int own)
{
    static const double sound[RL_MAX_LEVELS] = {1};
    const rl_rows *rows = b->c->model->rows->of_load[f->subject];
    const rl_behaviour *kind = &b->c->model->kind[rows->kind];
    int levels = (int)kind->info.levels, size = b->lines->frame.rows;
    rl_cells t = {.count = 3, .input = {helper, fed, own}, .size = {levels, size, 2}};
    rl_cells_take(b->arena, &t);
    for (int v = 0; v < size; v++)
        for (int failed = 0; failed < 2; failed++) {
            double rest[RL_MAX_LEVELS];
            rl_observe_levels(kind, sound, rows->side[1][rl_observe_row(&b->lines->frame, v)], failed, rest);
            for (int l = 0; l < levels; l++)
                t.cell[(l * size + v) * 2 + failed] = rest[l];
        }
    return t;
}

/* The two factors of the line again, with a helper that tells all levels: so one of them alone
 * holds what was seen, and what would be seen of one of the others. */
static void couple_again(const board *b, int line, bool as_others)
{
    static const double first[RL_MAX_LEVELS] = {1};
    const rl_finding *f = b->c->finding[line];
    said *s = &b->said[line];
    rl_draft *draft = &b->lines->draft;
    rl_world *world = rl_observe_world(&b->lines->observer, f->occasion, &f->with);
    rl_sides sides = rl_observe_sides(&b->lines->observer, world, f->subject, &f->with);
    int bit = b->lines->frame.slot[f->occasion];
    draft->factors = s->factor;
    draft->helpers--;
    int helper = rl_draft_helper(draft, f->weights);
    rl_cells rest = rest_table(b, f, helper, sides.fed, sides.own);
    rl_cells seen = return_table(b, f, helper, sides.back, f->weight);
    rl_cells unseen = return_table(b, f, helper, sides.back, as_others ? first : ones(b->arena, (size_t)f->weights));
    rl_draft_add(draft, &rest, bit);
    rl_draft_add(draft, &seen, bit);
    rl_draft_add(draft, &unseen, bit);
    s->factor_end = --draft->factors;   /* the last stands in */
    s->factor = s->factor_end - 1;
    s->cell[0] = draft->factor[s->factor_end].cell;
}

/* ---- lines ---- */

static bool has_conditions(const rl_finding *f)
{
    return f->with.bypass || f->with.bypass_at >= 0 || f->with.swap || f->with.jumper || f->with.repaired_count > 0;
}

static void observe_line(const board *b, int line)
{
    const rl_finding *f = b->c->finding[line];
    const rl_draft *draft = &b->lines->draft;
    said *s = &b->said[line];
    s->own = draft->owns;
    s->factor = draft->factors;
    b->left_out[line] = false;
    observe(b, b->c, b->left_out);
    b->left_out[line] = true;
    s->own_end = draft->owns;
    s->factor_end = draft->factors;
    if (f->sort != RL_E_BEHAVIOUR && s->factor_end > s->factor)
        s->factor = s->factor_end - 1;   /* of a chain the last says what was seen; the rest sums to 1 */
    stand_in(b, f, s);
    bool as_others = f->sort == RL_E_BEHAVIOUR && is_one_of_others(b->c, line);
    bool coupled = f->sort == RL_E_BEHAVIOUR && s->factor_end == s->factor + 2;
    if (coupled)
        couple_again(b, line, as_others && !has_conditions(f));
    if (as_others && !(coupled && !has_conditions(f)))
        stand_in_as_others(b, f, s);
}

/* A factor that says nothing, so that the element is a variable of the net. */
static void name_element(const board *b, int element)
{
    rl_draft *draft = &b->lines->draft;
    rl_world *world = rl_exprs_world(draft->exprs, NULL, 0, NULL, 0);
    int expr = rl_expr_element(draft->exprs, world, element);
    rl_cells table = {.count = 2, .input = {expr, rl_draft_helper(draft, 1)}, .size = {rl_expr_rows(draft->exprs, expr), 1}};
    rl_cells_take(b->arena, &table);
    for (int v = 0; v < table.size[0]; v++)
        table.cell[v] = 1;
    rl_draft_add(draft, &table, b->lines->frame.last);
}

static rl_status fill_draft(board *b)
{
    int lines = b->c->findings;
    b->lines = rl_new(b->arena, rl_bench);
    b->said = rl_many(b->arena, lines + 1, said);
    b->left_out = rl_many(b->arena, lines + 1, bool);
    for (int i = 0; i < lines; i++)
        b->left_out[i] = true;
    rl_status status = rl_bench_make(b->lines, b->arena, b->c, b->left_out);
    if (status != RL_OK)
        return status;
    b->ones = ones(b->arena, (size_t)b->lines->frame.rows);
    observe_others(b);
    name_element(b, b->element);
    for (int i = 0; i < lines; i++)
        if (is_apart(b->c->finding[i]))
            observe_line(b, i);
    return RL_OK;
}

/* Takes a line out of the draft, or puts it back. */
static void turn(board *b, int line)
{
    rl_draft *draft = &b->bench.draft;
    said *s = &b->said[line];
    for (int i = s->own; i < s->own_end; i++) {
        const double *row = draft->own[i].row;
        draft->own[i].row = s->row[i - s->own];
        s->row[i - s->own] = row;
    }
    for (int i = s->factor; i < s->factor_end; i++) {
        double *cell = draft->factor[i].cell;
        draft->factor[i].cell = s->cell[i - s->factor];
        s->cell[i - s->factor] = cell;
    }
    if (b->c->finding[line]->sort == RL_E_INSPECTION) {
        double state[RL_STATES], *now = draft->state[b->c->finding[line]->subject];
        memcpy(state, now, sizeof state);
        memcpy(now, s->state, sizeof state);
        memcpy(s->state, state, sizeof state);
    }
}

/* ---- the networks ---- */

static bool same_scope(const rl_net *a, const rl_net *b, int factor)
{
    int count_a, count_b;
    const int *of_a = rl_net_scope(a, factor, &count_a), *of_b = rl_net_scope(b, factor, &count_b);
    return count_a == count_b && (count_a == 0 || memcmp(of_a, of_b, (size_t)count_a * sizeof *of_a) == 0);
}

static bool same_shape(const rl_net *a, const rl_net *b)
{
    if (rl_net_variables(a) != rl_net_variables(b) || rl_net_factors(a) != rl_net_factors(b))
        return false;
    for (int v = 0; v < rl_net_variables(a); v++)
        if (rl_net_size(a, v) != rl_net_size(b, v))
            return false;
    for (int f = 0; f < rl_net_factors(a); f++)
        if (!same_scope(a, b, f))
            return false;
    return true;
}

/* The network without a line: the same variables and scopes, other cells. */
static void make_unsaid(board *b, const bool *keep, int line)
{
    said *s = &b->said[line];
    turn(b, line);
    rl_network_make(&s->unsaid, b->arena, &b->bench.draft, keep, NULL);
    turn(b, line);
    if (s->unsaid.impossible || !same_shape(b->bench.network.net, s->unsaid.net))
        s->unsaid.net = NULL;
}

/* Whether each line by itself would cost less than two passes here. */
static bool is_dear(const board *b, double cells)
{
    double here = rl_plan_cells(b->bench.plan);
    return here > NEVER_DEAR && PASSES_COST * here > cells * b->c->findings;
}

/* `cells`: of the plan of the case itself. */
static rl_status make_networks(board *b, double cells)
{
    bool *keep = rl_many(b->arena, b->c->model->nodes, bool);
    keep[b->element] = true;
    rl_status status = rl_bench_again(&b->bench, b->arena, b->lines, NULL, keep);
    if (status == RL_OK && is_dear(b, cells))
        return RL_WIDE;
    for (int i = 0; status == RL_OK && i < b->c->findings; i++)
        if (is_apart(b->c->finding[i]))
            make_unsaid(b, keep, i);
    return status;
}

/* ---- what all findings come to ---- */

/* Holds the suspect; returns the greatest of its weights. */
static double hold(const board *b, bool sound)
{
    int base = rl_bench_base(&b->bench, b->element), variable = rl_network_variable(&b->bench.network, base);
    const double *weight = rl_bench_held(&b->bench, b->arena, b->element, sound);
    double greatest = 0;
    for (int v = 0; v < rl_net_size(b->bench.network.net, variable); v++)
        greatest = fmax(greatest, weight[v]);
    rl_tree_weigh(b->bench.tree, variable, weight);
    return greatest;
}

/* What they come to without a line over what they come to with it, but for a number that is
 * the same however the suspect is held; false: not to be had. */
static bool gain_without(board *b, int line, bool sound, double *gain)
{
    const rl_net *with = b->bench.network.net, *without = b->said[line].unsaid.net;
    const rl_finding *f = b->c->finding[line];
    bool own = f->sort == RL_E_INSPECTION && f->subject == b->element;   /* how it is held depends on the line */
    double held, back;
    turn(b, line);
    held = own ? hold(b, sound) : 1;
    rl_tree_exchange(b->bench.tree, with, without);
    bool done = rl_tree_lift(b->bench.tree, gain);
    turn(b, line);
    held /= own ? hold(b, sound) : 1;
    rl_tree_exchange(b->bench.tree, without, with);
    *gain *= held;
    return done && rl_tree_lift(b->bench.tree, &back);
}

/* Of all lines, the suspect being held; `sum`: ln of what all findings come to. */
static bool pass(board *b, bool sound, double *sum, double *gain)
{
    hold(b, sound);
    *sum = rl_tree_collect(b->bench.tree);
    if (isinf(*sum))
        return false;
    rl_tree_distribute(b->bench.tree);
    for (int i = 0; i < b->c->findings; i++) {
        gain[i] = NAN;
        if (is_apart(b->c->finding[i]) && b->said[i].unsaid.net && !gain_without(b, i, sound, &gain[i]))
            return false;
    }
    return true;
}

static bool find_odds(board *b, double cells, double *out)
{
    int lines = b->c->findings;
    double sum[2], *gain[2] = {rl_many(b->arena, lines + 1, double), rl_many(b->arena, lines + 1, double)};
    if (fill_draft(b) != RL_OK)
        return false;
    if (make_networks(b, cells) != RL_OK || !pass(b, false, &sum[0], gain[0]) || !pass(b, true, &sum[1], gain[1]))
        return false;
    for (int i = 0; i < lines; i++)
        out[i] = exp(sum[0] - sum[1]) * gain[0][i] / gain[1][i];
    return true;
}

void rl_unsaid_odds(rl_work *work, const rl_case *c, int element, double *out)
{
    board b = {.c = c, .arena = &work->arena, .element = element};
    rl_mark mark = rl_arena_mark(b.arena);
    if (!find_odds(&b, work->answer.cells, out))
        for (int i = 0; i < c->findings; i++)
            out[i] = NAN;
    rl_arena_rewind(b.arena, mark);
}

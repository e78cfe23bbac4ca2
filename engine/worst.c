/* worst.c: see worst.h.
 *
 * Invariant: a state of the march is the rows of the sets begun, the last
 * changing fastest.
 */
#include "worst.h"

#include <assert.h>
#include <string.h>

enum { MOST_READ = 64 };

typedef struct script {
    const rl_bearings *bearings;
    int laws, expr[MOST_READ], at[MOST_READ];
    const rl_given *law[MOST_READ];
    bool begins[MOST_READ];    /* a set, rather than going on with it */
    bool open[MOST_READ];      /* of the set: only that matters */
    const rl_codes *codes;     /* of elements of the one set, NULL: rows count */
    uint64_t keep[MOST_READ];
} script;

/* Lists what is to be read; false: too much. */
static bool list_laws(script *s, const rl_worst *set, int sets)
{
    for (int i = 0; i < sets; i++)
        for (int k = 0; k < set[i].count; k++) {
            if (s->laws == MOST_READ || !(s->law[s->laws] = rl_given_of(s->bearings->givens, set[i].expr[k])))
                return false;
            s->expr[s->laws] = set[i].expr[k];
            s->at[s->laws] = s->laws;
            s->open[s->laws] = set[i].open;
            s->begins[s->laws++] = k == 0;
        }
    return true;
}

/* Whether no two of the laws hang on the same element outside the net: by their lists. */
static bool lists_apart(const script *s, bool *known)
{
    for (int i = 0; i < s->laws; i++)
        *known = *known && s->law[i]->outsides >= 0;
    for (int i = 1; i < s->laws && *known; i++)
        for (int k = 0; k < i; k++) {
            const rl_given *a = s->law[i], *b = s->law[k];
            for (int x = 0, y = 0; x < a->outsides && y < b->outsides;) {
                if (a->outside[x] == b->outside[y])
                    return false;
                if (a->outside[x] < b->outside[y])
                    x++;
                else
                    y++;
            }
        }
    return true;
}

static bool are_apart(const script *s)
{
    const rl_bearings *b = s->bearings;
    rl_bench *bench = b->givens->bench;
    bool known = true, apart = lists_apart(s, &known);
    if (known)
        return apart;
    bool *marked = rl_many(b->scratch, bench->frame.model->nodes, bool);
    for (int i = 0; i < s->laws; i++)
        if (!rl_probe_apart(bench, b->scratch, s->expr[i], marked))
            return false;
    return true;
}

static bool make_ladder(script *s, rl_ladder *ladder)
{
    rl_wanted wanted = {.count = 0};
    for (int i = 0; i < s->laws; i++)
        rl_wanted_add(&wanted, s->law[i], i);
    return rl_ladder_make(ladder, s->bearings->ladders, &wanted, s->law, s->laws);
}

static bool counts_more(const rl_codes *codes, int code, int now)
{
    int open = codes->count + 1;
    return now != open && code > 0 && (code == open || now == 0 || codes->value[code] > codes->value[now]);
}

static int set_next_codes(const script *s, int i, int states, int *next)
{
    int rows = s->law[i]->rows;
    for (int state = 0; state < states; state++)
        for (int row = 0; row < rows; row++) {
            int code = s->codes->of[i * rows + row];
            next[state * rows + row] = counts_more(s->codes, code, state) ? code : state;
        }
    return s->codes->count + 2;
}

/* What each state and row of law i becomes; returns how many states there are then. */
static int set_next(const script *s, int i, int states, int *next)
{
    int rows = s->law[i]->rows, kinds = s->open[i] ? 2 : rows;
    if (s->codes)
        return set_next_codes(s, i, states, next);
    for (int state = 0; state < states; state++)
        for (int row = 0; row < rows; row++) {
            int kind = s->open[i] ? row == rows - 1 : row, now = state % kinds;
            next[state * rows + row] = s->begins[i] ? state * kinds + kind : state - now + (kind > now ? kind : now);
        }
    return s->begins[i] ? states * kinds : states;
}

static bool read_law(script *s, rl_march *m, int i)
{
    int *next = rl_raw(m->arena, m->states * s->law[i]->rows, int);
    int after = set_next(s, i, m->states, next);
    return rl_march_bring(m, s->law[i]) && rl_march_read(m, s->law[i], next, after, s->keep[i]);
}

/* ---- few variables: their joint is at hand ---- */

enum { FEW = 4, FEW_CELLS = 1 << 12 };

/* The joint of the variables left and the states, [variables...][states]. */
typedef struct table {
    int count, variable[FEW], size[FEW], states;
    const double *p;
} table;

static bool list_variables(const script *s, table *t)
{
    int list[FEW + 1], cells = 1;
    const rl_net *net = s->bearings->givens->bench->network.net;
    for (int i = 0; i < s->laws; i++)
        for (int k = 0; k < s->law[i]->count; k++) {
            t->count = rl_place_insert(list, t->count, s->law[i]->variable[k]);
            if (t->count > FEW)
                return false;
        }
    for (int i = 0; i < t->count; i++) {
        t->variable[i] = list[i];
        cells *= t->size[i] = rl_net_size(net, list[i]);
    }
    return cells <= FEW_CELLS;
}

/* How far variables that are listed move in the cells of another list, the last `inner` apart. */
static void set_steps(const table *t, const int *variable, const int *size, int count, size_t inner, size_t *step)
{
    for (int i = 0; i < t->count; i++)
        step[i] = 0;
    for (int k = count; k-- > 0; inner *= (size_t)size[k])
        for (int i = 0; i < t->count; i++)
            if (t->variable[i] == variable[k])
                step[i] = inner;
}

/* The variables that laws behind i hang on. */
static table variables_after(const script *s, const table *t, int i)
{
    table after = {.count = 0};
    for (int k = 0; k < t->count; k++) {
        bool later = false;
        for (int l = i + 1; l < s->laws && !later; l++)
            later = rl_place_in(s->law[l]->variable, s->law[l]->count, t->variable[k]) >= 0;
        if (later) {
            after.variable[after.count] = t->variable[k];
            after.size[after.count++] = t->size[k];
        }
    }
    return after;
}

/* One cell of the variables: its states go where the law's rows lead. */
static void read_cell(const double *from, int states, const double *law, int rows, const int *next, double *to)
{
    for (int state = 0; state < states; state++, next += rows)
        for (int row = 0; row < rows && from[state] > 0; row++)
            to[next[row]] += from[state] * law[row];
}

static void read_few(const script *s, table *t, int i)
{
    const rl_given *law = s->law[i];
    rl_arena *arena = s->bearings->scratch;
    int *next = rl_raw(arena, t->states * law->rows, int), digit[FEW] = {0};
    size_t of_law[FEW], of_out[FEW], cells = 1, at = 0, to = 0, left = 1;
    table out = variables_after(s, t, i);
    out.states = set_next(s, i, t->states, next);
    set_steps(t, law->variable, law->size, law->count, (size_t)law->rows, of_law);
    set_steps(t, out.variable, out.size, out.count, (size_t)out.states, of_out);
    for (int k = 0; k < t->count; k++)
        cells *= (size_t)t->size[k];
    for (int k = 0; k < out.count; k++)
        left *= (size_t)out.size[k];
    double *p = rl_many(arena, left * (size_t)out.states, double);
    for (size_t c = 0; c < cells; c++) {
        read_cell(&t->p[c * (size_t)t->states], t->states, &law->p[at], law->rows, next, &p[to]);
        for (int k = t->count; k-- > 0; digit[k] = 0) {
            at += of_law[k];
            to += of_out[k];
            if (++digit[k] < t->size[k])
                break;
            at -= of_law[k] * (size_t)t->size[k];
            to -= of_out[k] * (size_t)t->size[k];
        }
    }
    out.p = p;
    *t = out;
}

/* NULL: the laws hang on too much for that. */
static const double *joint_of_few(const script *s)
{
    static const double certain[1] = {1};
    const rl_bearings *b = s->bearings;
    table t = {.states = 1};
    if (!list_variables(s, &t))
        return NULL;
    t.p = t.count == 0 ? certain
        : rl_group_joint(b->ladders->groups, b->givens->bench, b->scratch, t.variable, t.count);
    if (!t.p)
        return NULL;
    for (int i = 0; i < s->laws; i++)
        read_few(s, &t, i);
    return t.p;
}

/* The distribution of the states behind all laws; NULL: too large. */
static const double *run(script *s)
{
    rl_ladder ladder;
    rl_march m;
    const rl_bearings *b = s->bearings;
    const double *few = joint_of_few(s);
    if (few)
        return few;
    if (!make_ladder(s, &ladder))
        return NULL;
    rl_route route = {s->laws, s->law, s->at};
    rl_route_keep(&route, &ladder, s->keep, s->laws);
    rl_march_start(&m, b->scratch, &ladder);
    for (int i = 0; i < s->laws; i++)
        if (!read_law(s, &m, i))
            return NULL;
    double *out = rl_many(b->scratch, m.states, double);
    rl_march_sum(&m, NULL, out);
    return out;
}

const double *rl_worst_joint(const rl_bearings *bearings, const rl_worst *set, int sets)
{
    assert(sets <= RL_WORST_SETS);
    script s = {.bearings = bearings};
    return list_laws(&s, set, sets) && are_apart(&s) ? run(&s) : NULL;
}

const double *rl_worst_code(const rl_bearings *bearings, const int *expr, int exprs, const rl_codes *codes)
{
    rl_worst set = {.count = exprs, .expr = expr};
    script s = {.bearings = bearings, .codes = codes};
    assert(exprs > 0);
    return list_laws(&s, &set, 1) && are_apart(&s) ? run(&s) : NULL;
}

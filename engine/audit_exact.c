/* audit_exact.c: the entropy that looks leave, by going through all there is.
 *
 * Invariant: H(S | O) = H(S, O) - H(O), S the states of all elements, O the
 * outcomes of all looks; hidden detail is summed out of P(O | S) first.
 */
#include "audit.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* Cells of P(S, hidden detail, O): more are not gone through. */
static const double MOST_CELLS = 4e6;
/* Elements and looks: each is a step of a recursion, even one that has nothing to choose. */
enum { MOST_STEPS = 500 };

typedef struct walker {
    rl_lab *lab;
    const rl_trial *trial;
    int trials;
    size_t outcomes;           /* of all looks together */
    rl_detail (*detail)[RL_STATES];
    double *given;             /* P(o | s) of the states at hand */
    double *seen;              /* P(o) */
    double joint;              /* H(S, O) */
    rl_state *state;           /* by element */
    double *law;               /* room for one look's */
} walker;

/* Numbers of pairs of state and detail, multiplied, times outcomes; it stops where that is too much. */
static double cells_of(const rl_lab *lab, double outcomes)
{
    double cells = outcomes;
    rl_mark before = rl_arena_mark(lab->scratch);
    for (int e = 0; e < lab->model->nodes && cells <= MOST_CELLS; e++) {
        int pairs = 0;
        for (int s = 0; s < RL_STATES; s++)
            if (lab->model->node[e].info.prior[s] > 0)
                pairs += rl_lab_detail(lab, lab->scratch, e, (rl_state)s).count;
        cells *= pairs;
    }
    rl_arena_rewind(lab->scratch, before);
    return cells;
}

static double plogp(double p)
{
    return p > 0 ? p * log2(p) : 0;
}

/* Adds the product of the looks' laws, from look `at` on, to the cells of its outcomes. */
static void spread(walker *w, int at, size_t cell, double p)
{
    if (at == w->trials) {
        w->given[cell] += p;
        return;
    }
    int outcomes = rl_trial_outcomes(w->lab, &w->trial[at]);
    const double *law = &w->law[(size_t)at * (RL_MAX_LEVELS + 2)];
    for (int k = 0; k < outcomes; k++)
        if (law[k] > 0)
            spread(w, at + 1, cell * (size_t)outcomes + (size_t)k, p * law[k]);
}

/* An inspection shows the state itself. */
static void set_law(walker *w, const rl_trial *t, double *out)
{
    const rl_test *test = t->test;
    if (test->sort == RL_TEST_INSPECTION)
        memcpy(out, w->lab->model->look[test->named].row[w->state[test->subject]],
               (size_t)rl_trial_outcomes(w->lab, t) * sizeof *out);
    else
        rl_trial_law(w->lab, t, out);
}

/* Goes through the hidden detail of the elements from `element` on. */
static void go_detail(walker *w, int element, double p)
{
    if (element == w->lab->model->nodes) {
        for (int t = 0; t < w->trials; t++)
            set_law(w, &w->trial[t], &w->law[(size_t)t * (RL_MAX_LEVELS + 2)]);
        spread(w, 0, 0, p);
        return;
    }
    const rl_detail *d = &w->detail[element][w->state[element]];
    for (int i = 0; i < d->count; i++) {
        w->lab->row[element] = d->row[i];
        go_detail(w, element + 1, p * d->p[i]);
    }
    w->lab->row[element] = 0;
}

static void go_states(walker *w, int element, double p)
{
    const rl_model *m = w->lab->model;
    if (element < m->nodes) {
        for (int s = 0; s < RL_STATES; s++) {
            w->state[element] = (rl_state)s;
            if (m->node[element].info.prior[s] > 0)
                go_states(w, element + 1, p * m->node[element].info.prior[s]);
        }
        return;
    }
    memset(w->given, 0, w->outcomes * sizeof *w->given);
    go_detail(w, 0, 1);
    for (size_t o = 0; o < w->outcomes; o++) {
        w->seen[o] += p * w->given[o];
        w->joint -= plogp(p * w->given[o]);
    }
}

bool rl_audit_exact(rl_lab *lab, const rl_trial *trial, int trials, double *left)
{
    double outcomes = 1;
    if (lab->model->nodes > MOST_STEPS || trials > MOST_STEPS)
        return false;
    for (int t = 0; t < trials && outcomes <= MOST_CELLS; t++)
        outcomes *= rl_trial_outcomes(lab, &trial[t]);
    if (outcomes > MOST_CELLS || cells_of(lab, outcomes) > MOST_CELLS)
        return false;
    rl_arena *arena = lab->arena;
    int nodes = lab->model->nodes;
    walker w = {.lab = lab, .trial = trial, .trials = trials, .outcomes = (size_t)outcomes};
    w.detail = rl_arena_array(arena, (size_t)nodes + 1, sizeof *w.detail);
    for (int e = 0; e < nodes; e++)
        for (int s = 0; s < RL_STATES; s++)
            if (lab->model->node[e].info.prior[s] > 0)
                w.detail[e][s] = rl_lab_detail(lab, arena, e, (rl_state)s);
    w.given = rl_many(arena, w.outcomes, double);
    w.seen = rl_many(arena, w.outcomes, double);
    w.state = rl_many(arena, nodes + 1, rl_state);
    w.law = rl_many(arena, (trials + 1) * (RL_MAX_LEVELS + 2), double);
    go_states(&w, 0, 1);
    *left = w.joint;
    for (size_t o = 0; o < w.outcomes; o++)
        *left += plogp(w.seen[o]);
    assert(*left > -1e-9);
    *left = fmax(*left, 0);
    return true;
}

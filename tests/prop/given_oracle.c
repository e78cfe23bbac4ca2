/* given_oracle.c: the oracle's answers in the common shape.
 *
 * Invariant: texts are copied, so the answer outlives the oracle's model.
 */
#include "given_oracle.h"

#include <string.h>

static const char *copy(given *g, const char *text) { return rl_arena_copy(&g->arena, text, strlen(text)); }

static void put_beliefs(given *g, const oc_model *model, const oc_answer *a)
{
    g->elements = (size_t)oc_model_elements(model);
    g->id = rl_many(&g->arena, g->elements + 1, const char *);
    g->p = rl_arena_array(&g->arena, g->elements + 1, sizeof *g->p);
    for (size_t i = 0; i < g->elements; i++) {
        g->id[i] = copy(g, oc_model_id(model, (int)i));
        memcpy(g->p[i], a->p[i], sizeof g->p[i]);
    }
    memcpy(g->share, (double[4]){a->share_return, a->share_feed, a->share_load, a->share_none}, sizeof g->share);
}

static void put_tests(given *g, const oc_answer *a)
{
    g->has_tests = true;
    g->tests = (size_t)a->tests;
    g->test = rl_many(&g->arena, g->tests + 1, given_test);
    for (size_t i = 0; i < g->tests; i++)
        g->test[i] = (given_test){copy(g, a->test[i].text), a->test[i].bits, a->test[i].minutes};
}

static void put_explanation(given *g, const oc_answer *a, const oc_explanation *from, given_explanation *to)
{
    given_fault *fault = rl_many(&g->arena, a->suspects + 1, given_fault);
    to->p = from->p;
    for (size_t s = 0; s < g->suspects; s++)
        if (from->state[s] != RL_SOUND)
            fault[to->count++] = (given_fault){g->suspect[s], from->state[s]};
    to->fault = fault;
}

static void put_explanations(given *g, const oc_model *model, const oc_answer *a)
{
    g->suspects = (size_t)a->suspects;
    g->suspect = rl_many(&g->arena, g->suspects + 1, const char *);
    for (size_t i = 0; i < g->suspects; i++)
        g->suspect[i] = copy(g, oc_model_id(model, a->suspect[i]));
    g->has_explanations = g->all_explanations = true;
    g->explanations = a->explanations;
    g->explanation = rl_many(&g->arena, g->explanations + 1, given_explanation);
    for (size_t i = 0; i < g->explanations; i++)
        put_explanation(g, a, &a->explanation[i], &g->explanation[i]);
}

given *given_from_oracle(const oc_model *model, oc_case *c, double bound)
{
    oc_answer a = oc_solve(c, bound);
    if (a.wide)
        return NULL;
    given *g = given_new(oc_case_name(c));
    g->contradiction = a.contradiction;
    if (a.contradiction)
        return g;
    g->log_evidence = a.log_evidence;
    put_beliefs(g, model, &a);
    put_tests(g, &a);
    put_explanations(g, model, &a);
    return g;
}

/* given_engine.c: the library's answers in the common shape.
 *
 * Invariant: only ringlug.h is used; texts are copied, so the answer outlives
 * the case and the model.
 */
#include "given_engine.h"

#include <assert.h>
#include <stdio.h>
#include <string.h>

static const char *copy(given *g, const char *text) { return rl_arena_copy(&g->arena, text, strlen(text)); }

static void put_beliefs(given *g, const rl_model *model, const rl_answer *a, const rl_shares *shares)
{
    g->log_evidence = a->log_evidence;
    g->elements = rl_model_vehicle(model)->elements;
    g->id = rl_many(&g->arena, g->elements + 1, const char *);
    g->p = rl_arena_array(&g->arena, g->elements + 1, sizeof *g->p);
    for (size_t i = 0; i < g->elements; i++) {
        g->id[i] = copy(g, rl_model_element(model, i)->id);
        memcpy(g->p[i], a->belief[i].p, sizeof g->p[i]);
    }
    g->share[0] = shares->of_return;
    g->share[1] = shares->of_feed;
    g->share[2] = shares->of_load;
    g->share[3] = shares->none;
}

static rl_status put_suspects(given *g, const rl_model *model, rl_case *c)
{
    const size_t *element;
    rl_status status = rl_case_suspects(c, &element, &g->suspects);
    if (status != RL_OK)
        return status;
    g->suspect = rl_many(&g->arena, g->suspects + 1, const char *);
    for (size_t i = 0; i < g->suspects; i++)
        g->suspect[i] = copy(g, rl_model_element(model, element[i])->id);
    return RL_OK;
}

static rl_status put_explanations(given *g, const rl_model *model, rl_case *c)
{
    const rl_explanation *e;
    rl_status status = rl_case_explain(c, GIVEN_EXPLANATIONS, &e, &g->explanations);
    if (status != RL_OK)
        return status;
    g->has_explanations = true;
    g->explanation = rl_many(&g->arena, g->explanations + 1, given_explanation);
    for (size_t i = 0; i < g->explanations; i++) {
        given_fault *fault = rl_many(&g->arena, e[i].count + 1, given_fault);
        for (size_t k = 0; k < e[i].count; k++)
            fault[k] = (given_fault){copy(g, rl_model_element(model, e[i].faults[k].element)->id),
                                     e[i].faults[k].state};
        g->explanation[i] = (given_explanation){e[i].p, e[i].count, fault};
    }
    return RL_OK;
}

static rl_status put_tests(given *g, rl_case *c)
{
    const rl_test *test;
    rl_status status = rl_case_tests(c, &test, &g->tests);
    if (status != RL_OK)
        return status;
    g->has_tests = true;
    g->test = rl_many(&g->arena, g->tests + 1, given_test);
    for (size_t i = 0; i < g->tests; i++)
        g->test[i] = (given_test){copy(g, test[i].text), test[i].bits, test[i].minutes};
    return RL_OK;
}

static rl_status put_all(given *g, const rl_model *model, rl_case *c, unsigned what)
{
    const rl_answer *a;
    const rl_shares *shares;
    rl_status status = rl_case_answer(c, &a);
    if (status == RL_OK)
        status = rl_case_shares(c, &shares);
    if (status != RL_OK)
        return status;
    put_beliefs(g, model, a, shares);
    status = put_suspects(g, model, c);
    if (status == RL_OK && (what & ASK_EXPLANATIONS) != 0)
        status = put_explanations(g, model, c);
    if (status == RL_OK && (what & ASK_TESTS) != 0)
        status = put_tests(g, c);
    return status;
}

given *given_from_engine(const rl_model *model, rl_case *c, unsigned what)
{
    const char *name = rl_case_name(c);
    given *g = given_new(name == NULL ? "" : name);
    rl_status status = put_all(g, model, c, what);
    g->contradiction = status == RL_CONTRADICTION;
    if (status == RL_OK || status == RL_CONTRADICTION)
        return g;
    fprintf(stderr, "%s: %s\n", g->name, rl_status_text(status));
    given_free(g);
    return NULL;
}

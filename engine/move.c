/* move.c: test on, or mend, and which: the advice of a play.
 *
 * Invariant: the advice is that of rl_case_outlook, as it is given to anyone who asks;
 * what is added is the rule of the play and that only suspects are mended.
 */
#include "outlook.h"
#include "play.h"

#include <assert.h>

double rl_fault_share(const rl_belief *belief)
{
    return belief->p[RL_LOOSE] + belief->p[RL_CORRODED] + belief->p[RL_OPEN] + belief->p[RL_FAILED];
}

rl_status rl_move_likeliest(const rl_scene *scene, rl_case *c, int *element, double *p)
{
    const rl_answer *answer;
    rl_status status = rl_case_answer(c, &answer);
    double most = -1;
    *element = -1;
    for (int e = 0; status == RL_OK && e < scene->model->nodes; e++) {
        double share = scene->suspect[e] ? rl_coarse(rl_fault_share(&answer->belief[e])) : -1;
        if (share > most) {
            most = share;
            *element = e;
        }
    }
    *p = most;
    return status;
}

/* The first of the advised repairs that mends a suspect; without one the likeliest suspect. */
static int first_mend(const rl_scene *scene, const rl_outlook *outlook, int likeliest)
{
    for (size_t i = 0; i < outlook->mends; i++)
        if (scene->suspect[outlook->mend[i].element])
            return (int)outlook->mend[i].element;
    return likeliest;
}

rl_status rl_move_advised(const rl_scene *scene, rl_case *c, rl_move *out)
{
    const rl_outlook *outlook;
    double p;
    int likeliest;
    rl_status status = rl_move_likeliest(scene, c, &likeliest, &p);
    *out = (rl_move){.element = likeliest};
    if (status != RL_OK || p > scene->above || !scene->may_test)
        return status;
    assert(likeliest >= 0);
    status = rl_case_advice(c, &outlook);
    if (status != RL_OK)
        return status == RL_WIDE ? RL_OK : status;   /* no test can be worked out */
    out->element = first_mend(scene, outlook, likeliest);
    if (outlook->advice)
        *out = (rl_move){.test = &outlook->advice->test, .element = -1};
    return RL_OK;
}

/* draw_case.c: a whole case of a drawn vehicle.
 *
 * Invariant: what is written down is chosen by what was written down before and
 * by numbers of its own, never by what is left out.  The behaviour of every
 * load and every symptom is in the case, so that it also says that something
 * was complained of: of many drawn cases the posterior is the share in which
 * the element is at fault.
 */
#include "admit.h"
#include "draw.h"

#include <assert.h>
#include <string.h>

enum { MOST_BESIDE = 2, SORTS_OF_TEST = RL_TEST_JUMPER + 1 };

typedef struct recording { rl_case *c; size_t occasions, findings; } recording;

/* ---- what the driver notices ---- */

/* What an abnormal load's return shares with others first: the element behind its wire. */
static int shared_joint(const rl_model *model, int load)
{
    const rl_node *node = &model->node[load];
    return node->on_every_count > 1 ? node->on_every[1] : -1;
}

static int first_amiss(rl_stage *stage)
{
    for (int e = 0; e < stage->model->nodes; e++)
        if (rl_is_load(stage->model, e) && rl_stage_level(stage, e) > 0)
            return e;
    return -1;
}

/* A few loads that work although they share a joint with one that does not: said by name. */
static void list_beside(rl_stage *stage, rl_text *list)
{
    const rl_model *m = stage->model;
    rl_random random = rl_draw_stream(stage->drawn, RL_FOR_CHOICE, stage->occasion, "beside");
    int amiss = first_amiss(stage), joint = amiss < 0 ? -1 : shared_joint(m, amiss), said = 0;
    for (int e = 0; joint >= 0 && e < m->nodes && said < MOST_BESIDE; e++) {
        if (!rl_is_load(m, e) || rl_stage_level(stage, e) > 0 || !rl_on_every(m, e, joint))
            continue;
        if (rl_random_unit(&random) < 0.5)
            continue;
        rl_draw_line(list, m->node[e].info.id, m->kind[m->node[e].info.kind].info.level[0]);
        said++;
    }
}

/* Whether some load is not in the list of `said` lines. */
static bool some_other(const rl_model *model, const rl_text *said)
{
    int loads = 0;
    for (int e = 0; e < model->nodes; e++)
        loads += rl_is_load(model, e);
    for (size_t i = 0; i < said->length; i++)
        loads -= said->bytes[i] == '\n';
    return loads > 0;
}

static rl_status notice(rl_drawn *d, void *argument)
{
    const recording *r = argument;
    rl_stage stage;
    rl_text list = { .arena = &d->scratch };
    rl_stage_make(&stage, d, r->c);
    rl_draw_loads(&stage, &list);
    list_beside(&stage, &list);
    if (some_other(d->model, &list))
        rl_draw_line(&list, "others", "work");
    rl_draw_signs(&stage, true, &list);
    return rl_draw_add(r->c, &list);
}

/* Occasions are named where there are several. */
static rl_status begin_occasion(rl_drawn *d, void *argument)
{
    const recording *r = argument;
    rl_text list = { .arena = &d->scratch };
    size_t now = r->c->findings == 0 ? 1 : (size_t)r->c->occasions + 1;
    if (r->occasions == 1)
        return RL_OK;
    rl_put(&list, "occasion day");
    rl_put_count(&list, now);
    rl_put(&list, now == r->occasions ? " \"in the workshop\"\n" : " \"on the road\"\n");
    return rl_draw_add(r->c, &list);
}

/* ---- what is found out further ---- */

/* Loads whose lines in the case leave out the first level, and what lies on their returns. */
static void mark_amiss(const rl_case *c, bool *amiss)
{
    for (int i = 0; i < c->findings; i++) {
        const rl_finding *f = c->finding[i];
        if (f->sort != RL_E_BEHAVIOUR || f->first_named)
            continue;
        const rl_node *load = &c->model->node[f->subject];
        amiss[f->subject] = true;
        for (int k = 0; k < load->on_every_count; k++)
            amiss[load->on_every[k]] = true;
    }
}

/* A reading of ohms may come out below 0 by the meter's error, which a case file
 * is warned of; behaviours and symptoms are in the case already. */
static bool is_further(rl_test_sort sort)
{
    return sort != RL_TEST_BEHAVIOUR && sort != RL_TEST_SYMPTOM && sort != RL_TEST_RESISTANCE;
}

/* What may be chosen of: `near` narrows it to tests on what is amiss, a sort to that sort. */
typedef struct choice { const rl_candidates *list; const bool *amiss; bool near; int sort; } choice;

static bool is_open(const choice *k, const rl_test *t)
{
    if (!is_further(t->sort) || (k->sort >= 0 && (int)t->sort != k->sort))
        return false;
    return !k->near || (t->subject >= 0 && k->amiss[t->subject]);
}

/* One of the open tests, each with the same chance; NULL: there is none. */
static const rl_test *choose_any(const choice *k, rl_random *random)
{
    const rl_test *chosen = NULL;
    double seen = 0;
    for (int i = 0; i < k->list->count; i++)
        if (is_open(k, &k->list->at[i]) && rl_random_unit(random) * ++seen < 1)
            chosen = &k->list->at[i];
    return chosen;
}

/* One of the sorts that an open test has, each with the same chance; -1: there is none. */
static int choose_sort(const choice *k, rl_random *random)
{
    bool found[SORTS_OF_TEST] = { false };
    int chosen = -1;
    double seen = 0;
    for (int i = 0; i < k->list->count; i++)
        if (is_open(k, &k->list->at[i]))
            found[k->list->at[i].sort] = true;
    for (int sort = 0; sort < SORTS_OF_TEST; sort++)
        if (found[sort] && rl_random_unit(random) * ++seen < 1)
            chosen = sort;
    return chosen;
}

/* A test of the candidates, on what is amiss if there is one; NULL: there is none. */
static const rl_test *choose(const rl_candidates *list, const bool *amiss, rl_random *random)
{
    choice k = { list, amiss, true, -1 };
    k.sort = choose_sort(&k, random);
    if (k.sort < 0) {
        k.near = false;
        k.sort = choose_sort(&k, random);
    }
    return k.sort < 0 ? NULL : choose_any(&k, random);
}

static rl_status find_out(rl_drawn *d, void *argument)
{
    const recording *r = argument;
    rl_case *c = r->c;
    rl_candidates list;
    bool *amiss = rl_many(&d->scratch, d->model->nodes, bool);
    rl_random random = rl_draw_stream(d, RL_FOR_CHOICE, c->findings, "further");
    mark_amiss(c, amiss);
    rl_admit_all(&list, &d->scratch, c);
    const rl_test *test = choose(&list, amiss, &random);
    if (test == NULL)
        return RL_OK;
    rl_stage stage;
    rl_text line = { .arena = &d->scratch };
    rl_stage_make(&stage, d, c);
    rl_draw_test(&stage, test, &line);
    rl_put(&line, "\n");
    return rl_draw_add(c, &line);
}

static rl_status say_found(rl_drawn *d, void *argument)
{
    const recording *r = argument;
    const rl_fault *fault;
    size_t count;
    rl_text list = { .arena = &d->scratch };
    rl_drawn_faults(d, &fault, &count);
    for (size_t i = 0; i < count; i++) {
        rl_put(&list, "found only ");
        rl_draw_line(&list, d->model->node[fault[i].element].info.id, rl_state_text(fault[i].state));
    }
    if (count == 0)
        rl_draw_line(&list, "found", "nothing");
    return rl_draw_add(r->c, &list);
}

rl_status rl_drawn_case(rl_drawn *drawn, rl_case *c, size_t occasions, size_t findings)
{
    recording r = { c, occasions, findings };
    rl_status status = RL_OK;
    assert(c->model == drawn->model);
    if (c->findings > 0 || occasions < 1 || occasions > RL_MAX_OCCASIONS)
        return RL_USAGE;
    for (size_t o = 0; o < occasions && status == RL_OK; o++) {
        status = rl_draw_run(drawn, begin_occasion, &r);
        if (status == RL_OK)
            status = rl_draw_run(drawn, notice, &r);
    }
    for (size_t f = 0; f < findings && status == RL_OK; f++)
        status = rl_draw_run(drawn, find_out, &r);
    return status == RL_OK ? rl_draw_run(drawn, say_found, &r) : status;
}

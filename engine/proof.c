/* proof.c: whether a repair is proved: complaints gone, nothing else suspect.
 *
 * Invariant: a complaint counts as gone only by what was seen of it last in a
 * world with a repair; what a line before the repair says is never proof.
 */
#include "proof.h"

#include "admit.h"
#include "touch.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* The rule of ringlug.h. */
static const double SURE = 0.9, REST = 0.05;
/* What differs by rounding alone is not more. */
static const double NOISE = 1e-12;

bool rl_repaired_in(const rl_case *c, int occasion, int element)
{
    const rl_occasion *o = &c->occasion[occasion];
    for (int i = 0; i < o->repaired_count; i++)
        if (o->repaired[i] == element)
            return true;
    return false;
}

int rl_last_repair(const rl_case *c)
{
    int last = c->occasions - 1;
    while (last >= 0 && c->occasion[last].repaired_count == 0)
        last--;
    return last;
}

/* ---- complaints ---- */

/* A line that says whether something is as it should be, under no condition but repairs. */
static bool is_look(const rl_finding *f)
{
    if (f->line.replaced)
        return false;
    if (f->sort == RL_E_BEHAVIOUR)
        return !f->with.bypass && f->with.bypass_at < 0 && !f->with.swap && !f->with.jumper;
    return f->sort == RL_E_SYMPTOM || f->sort == RL_E_BACKFEED || f->sort == RL_E_PULL;
}

static bool is_repaired(const rl_case *c, const rl_finding *f)
{
    return c->occasion[f->occasion].repaired_count > 0 || f->with.repaired_count > 0;
}

static bool same_subject(const rl_finding *a, const rl_finding *b)
{
    return a->sort == b->sort && a->subject == b->subject && a->other == b->other && a->named == b->named;
}

/* Whether an `others` line speaks of the load. */
static bool others_reach(const rl_case *c, const rl_finding *others, int load)
{
    if (others->sort != RL_E_OTHERS || others->line.replaced || c->occasion[others->occasion].repaired_count == 0)
        return false;
    for (int i = 0; i < c->findings; i++) {
        const rl_finding *f = c->finding[i];
        if (f->sort == RL_E_BEHAVIOUR && f->subject == load && f->occasion == others->occasion)
            return false;
    }
    return others->subject < 0 || rl_passes(c->model, c->model->node[load].info.wire, others->subject);
}

/* What was seen of it last, after a repair; what was amiss before the last repair has to be seen anew. */
static void look_again(const rl_case *c, const rl_finding *first, rl_complaint *complaint)
{
    int last = rl_last_repair(c);
    complaint->again = SIZE_MAX;
    for (int i = 0; i < c->findings; i++) {
        const rl_finding *f = c->finding[i];
        bool own = is_look(f) && is_repaired(c, f) && same_subject(f, first);
        if (!own && !(first->sort == RL_E_BEHAVIOUR && others_reach(c, f, first->subject)))
            continue;
        complaint->gone = !own || f->first_named;
        complaint->again = complaint->gone || f->occasion >= last ? (size_t)i : SIZE_MAX;
    }
}

static bool complained_before(const rl_case *c, int line)
{
    for (int i = 0; i < line; i++)
        if (is_look(c->finding[i]) && !c->finding[i]->first_named && same_subject(c->finding[i], c->finding[line]))
            return true;
    return false;
}

/* A symptom may be a matter of the past ("it came after washing"): it has to be
 * seen again only where nothing else could show that the trouble is gone. */
static void count_complaints(rl_proof *proof, rl_complaint *list)
{
    size_t loads = 0;
    for (size_t i = 0; i < proof->complaints; i++)
        loads += list[i].must;
    for (size_t i = 0; i < proof->complaints; i++) {
        list[i].must = list[i].must || loads == 0;
        proof->unseen += list[i].again == SIZE_MAX && list[i].must;
        proof->still += list[i].again != SIZE_MAX && !list[i].gone;
    }
}

static void list_complaints(const rl_case *c, rl_work *work, rl_proof *proof)
{
    rl_complaint *list = rl_many(&work->arena, c->findings + 1, rl_complaint);
    proof->complaint = list;
    for (int i = 0; i < c->findings; i++) {
        const rl_finding *f = c->finding[i];
        if (!is_look(f) || f->first_named || complained_before(c, i))
            continue;
        rl_complaint *complaint = &list[proof->complaints++];
        complaint->text = f->sort == RL_E_BEHAVIOUR ? c->model->node[f->subject].info.id : f->key;
        complaint->line = (size_t)i;
        complaint->must = f->sort != RL_E_SYMPTOM;
        look_again(c, f, complaint);
    }
    count_complaints(proof, list);
}

void rl_proof_amiss(const rl_case *c, bool *amiss)
{
    for (int i = 0; i < c->findings; i++)
        if (is_look(c->finding[i]) && c->finding[i]->sort == RL_E_BEHAVIOUR && !c->finding[i]->first_named)
            amiss[c->finding[i]->subject] = true;
}

/* ---- what else may be at fault ---- */

/* P(some element of the set is not sound | findings) by adding up: never too low. */
static double union_bound(const rl_work *work, const bool *set, int nodes)
{
    double sum = 0;
    for (int e = 0; e < nodes; e++)
        if (set[e])
            sum += 1 - work->belief[e].p[RL_SOUND];
    return fmin(sum + work->answer.neglected, 1);
}

/* P(some element of the set is not sound | findings) */
static rl_status any_fault(rl_work *work, const bool *set, double *out)
{
    int nodes = work->bench.frame.model->nodes;
    double p = 1;
    if (work->answer.bounded) {
        *out = union_bound(work, set, nodes);
        return RL_OK;
    }
    assert(work->status == RL_OK);
    rl_mark mark = rl_arena_mark(&work->arena);
    bool *held = rl_many(&work->arena, nodes, bool);
    for (int e = 0; e < nodes; e++) {
        held[e] = set[e] && rl_bench_touches(&work->bench, e);
        if (set[e] && !held[e])
            p *= work->belief[e].p[RL_SOUND];
    }
    rl_bench *bench = rl_new(&work->arena, rl_bench);
    rl_status status = rl_bench_again(bench, &work->arena, &work->bench, held, NULL);
    if (status == RL_OK)
        status = rl_bench_collect(bench);
    p *= status == RL_OK ? exp(bench->log_evidence - work->bench.log_evidence) : 0;
    rl_arena_rewind(&work->arena, mark);
    *out = 1 - fmin(p, 1);
    if (status == RL_WIDE)
        *out = union_bound(work, set, nodes);
    return status == RL_MEMORY ? status : RL_OK;   /* all sound cannot be: surely some fault */
}

/* What the complaints hang on; without any, what the findings reach. */
static void mark_rest(const rl_case *c, rl_work *work, const rl_proof *proof, bool *set)
{
    rl_mark mark = rl_arena_mark(&work->scratch);
    bool *flag = rl_many(&work->scratch, (int)rl_model_flags(c->model), bool);
    for (size_t i = 0; i < proof->complaints; i++)
        rl_touch_line(&work->scratch, c, c->finding[proof->complaint[i].line], flag);
    for (int e = 0; e < c->model->nodes; e++)
        set[e] = proof->complaints > 0 ? flag[e] : work->belief[e].touched;
    rl_arena_rewind(&work->scratch, mark);
}

static void leave_out(const rl_proof *proof, int element, bool *set)
{
    set[element] = false;
    for (size_t i = 0; i < proof->repaired_count; i++)
        set[proof->repaired[i]] = false;
}

static rl_status weigh_rest(const rl_case *c, rl_work *work, int element, rl_proof *proof)
{
    int nodes = c->model->nodes;
    double any = 0, sound = 1;
    bool *set = rl_many(&work->arena, nodes + 1, bool);
    mark_rest(c, work, proof, set);
    leave_out(proof, element, set);
    for (int e = 0; e < nodes; e++)
        sound *= set[e] ? c->model->node[e].info.prior[RL_SOUND] : 1;
    proof->rest_before = 1 - sound;
    rl_status status = any_fault(work, set, &proof->rest);
    if (status != RL_OK)
        return status;
    memset(set, true, (size_t)nodes * sizeof *set);
    leave_out(proof, element, set);
    status = any_fault(work, set, &any);
    proof->none_else = 1 - any;
    return status;
}

static rl_status find_suspect(rl_case *c, int element, rl_proof *proof)
{
    rl_work *work;
    rl_status status = rl_work_suspects(c, &work);
    proof->suspect = -1;
    for (size_t i = 0; status == RL_OK && proof->suspect < 0 && i < work->suspect_count; i++) {
        bool repaired = work->suspects[i] == (size_t)element;
        for (size_t k = 0; k < proof->repaired_count; k++)
            repaired = repaired || work->suspects[i] == proof->repaired[k];
        if (!repaired)
            proof->suspect = (int)work->suspects[i];
    }
    return status;
}

/* ---- the verdict ---- */

static bool mended_anywhere(const rl_case *c, int element)
{
    for (int o = 0; o < c->occasions; o++)
        if (rl_repaired_in(c, o, element))
            return true;
    return false;
}

static rl_verdict judge(const rl_case *c, int element, const rl_proof *proof)
{
    size_t good = 0, beyond = 0;
    bool wanted = false;
    assert(proof->unseen + proof->still <= proof->complaints);
    if (!mended_anywhere(c, element))
        return RL_PROOF_NONE;
    for (size_t i = 0; i < proof->takens; i++) {
        good += proof->taken[i].word == RL_TAKEN_GOOD && proof->taken[i].shows;
        beyond += proof->taken[i].word == RL_TAKEN_BEYOND;
    }
    for (size_t i = 0; i < proof->readings; i++)
        wanted = wanted || proof->reading[i].shows;
    if (proof->still > 0 || beyond > 0)
        return RL_PROOF_FAILED;
    if (proof->unseen > 0 || (wanted && good == 0))
        return RL_PROOF_OPEN;
    if (proof->at_fault < SURE || proof->rest > fmax(proof->rest_before, REST) + NOISE)
        return RL_PROOF_DOUBTFUL;
    return RL_PROOF_CONFIRMED;
}

static void list_repaired(const rl_case *c, rl_work *work, rl_proof *proof)
{
    int last = rl_last_repair(c);
    if (last < 0)
        return;
    size_t count = (size_t)c->occasion[last].repaired_count;
    size_t *list = rl_many(&work->arena, count, size_t);
    for (size_t i = 0; i < count; i++)
        list[i] = (size_t)c->occasion[last].repaired[i];
    proof->repaired = list;
    proof->repaired_count = count;
    proof->now = last == c->occasions - 1;
}

typedef struct proof_question {
    size_t element;
    const rl_proof **out;
} proof_question;

static rl_status answer_proof(rl_case *c, void *argument)
{
    proof_question *q = argument;
    rl_work *work;
    rl_status status = rl_work_answer(c, &work);
    if (status != RL_OK)
        return status;
    if (q->element >= (size_t)c->model->nodes)
        return RL_USAGE;
    int element = (int)q->element;
    rl_proof *proof = rl_new(&work->arena, rl_proof);
    list_repaired(c, work, proof);
    list_complaints(c, work, proof);
    proof->at_fault = 1 - work->belief[element].p[RL_SOUND];
    status = weigh_rest(c, work, element, proof);
    if (status == RL_OK)
        status = find_suspect(c, element, proof);
    if (status != RL_OK)
        return status;
    rl_proof_measure(c, work, element, proof);
    proof->verdict = judge(c, element, proof);
    *q->out = proof;
    return RL_OK;
}

rl_status rl_case_proof(rl_case *c, size_t element, const rl_proof **out)
{
    assert(c && out);
    proof_question q = {element, out};
    *out = NULL;
    return rl_ask(c, answer_proof, &q);
}

/* ---- open areas ---- */

rl_status rl_case_open_areas(rl_case *c, bool *open)
{
    memset(open, 0, (size_t)c->model->areas * sizeof *open);
    rl_areas_open(c, open);
    return RL_OK;
}

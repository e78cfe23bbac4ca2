/* test_proof_law.c: what a proof of a repair promises, on drawn vehicles, against the
 * oracle's enumeration.
 *
 * Of each reading that would prove a repair: a healthy span reads within the
 * range said (5 % to 95 %) and passes the bound as often as the header promises,
 * a bad one lies in its range, and slips through as seldom.  Of each proof: that the element
 * was at fault, that something else is, and the verdict that follows by the rule of
 * ringlug.h.  Each case is then continued with the repair, the readings and some of the
 * complaints seen again, and all is asked once more.
 *
 * RANDOM_SEED and RANDOM_COUNT choose other draws.
 */
#include "../held/disk.h"
#include "../oracle/inside.h"
#include "drawn_files.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double BOUND = 3e5;         /* joint states that the oracle looks at */
static const double NEAR = 1e-9;         /* of a probability that is added up */
static const double AT = 1e-6;           /* of the probability below a voltage that was searched for */
enum { MOST = 64, MOST_PROOFS = 3 };

typedef struct checks {
    uint64_t seed;
    const rl_model *model;
    oc_model *oracle;
    size_t proofs, readings, shows, takens, confirmed, failed;
    int bad;
} checks;

static void differ(checks *k, const rl_case *c, const char *element, const char *what, double got, double want)
{
    if (k->bad++ < 20)
        print_error("seed %llu case %s, %s: %s is %.17g, expected %.17g\n", (unsigned long long)k->seed, rl_case_name(c),
                    element, what, got, want);
}

static void near(checks *k, const rl_case *c, const char *element, const char *what, double got, double want, double error)
{
    if (!(fabs(got - want) <= error))
        differ(k, c, element, what, got, want);
}

static int of_oracle(const checks *k, size_t element)
{
    int e = oc_find(k->oracle, rl_model_element(k->model, element)->id);
    assert_true(e >= 0);
    return e;
}

/* ---- P(reading below a voltage) ---- */

/* The case's meter in a world without repairs: what a reading says does not depend on them. */
typedef struct look_at {
    oc_case world;
    bool none[MOST];
    oc_watch watch;
    rl_state state[MOST];
    int bin[MOST];
    unsigned active[MOST];
} look_at;

static void set_up(look_at *l, const oc_case *c, double battery, const oc_watch *watch)
{
    memset(l, 0, sizeof *l);
    l->world = *c;
    l->world.occasions = 1;
    l->world.occasion[0] = (oc_occasion){.said = 1, .battery = battery, .repaired = l->none};
    l->watch = *watch;
    l->watch.occasion = 0;
    l->watch.repaired = NULL;
}

/* A reading that is neither misread nor a lost zero. */
static double below(look_at *l, double volts)
{
    oc_model *m = l->world.model;
    oc_meter kept = m->volts;
    double out[OC_OUTCOMES], flat[2], zero[2];
    oc_joint joint = {l->state, l->bin, l->active};
    m->volts.bands = 1;
    m->volts.band[0] = volts;
    oc_meter_distribution(&l->world, &l->watch, &joint, out);
    oc_length_bands(m->supply, 1, &volts, flat);
    oc_normal_bands(0, kept.plus, 1, &volts, zero);
    m->volts = kept;
    return (out[0] - kept.misread * flat[0] - kept.zero * zero[0]) / (1 - kept.misread - kept.zero);
}

static double healthy_below(look_at *l, double volts)
{
    return below(l, volts);   /* all sound */
}

/* The element makes bad contact: its whole law, uncut, as of one that is loose. */
static double bad_below(look_at *l, int element, double volts)
{
    l->state[element] = RL_LOOSE;
    l->active[element] = 1;
    double p = below(l, volts);
    l->state[element] = RL_SOUND;
    return p;
}

/* ---- readings that would prove it ---- */

static oc_watch watch_of(const checks *k, const rl_proof_reading *r)
{
    oc_watch w = {.sort = r->test.sort == RL_TEST_DROP ? OC_DROP : OC_SUPPLY, .other = -1, .named = -1,
                  .from = -1, .to = -1};
    w.subject = of_oracle(k, (size_t)r->test.subject);
    if (r->test.from >= 0)
        w.from = of_oracle(k, (size_t)r->test.from);
    if (r->test.to >= 0)
        w.to = of_oracle(k, (size_t)r->test.to);
    if (r->also_count > 0)
        w.also = rl_many(&k->oracle->arena, k->oracle->elements, bool);
    for (size_t i = 0; i < r->also_count; i++)
        w.also[of_oracle(k, r->also[i])] = true;
    if (w.sort == OC_DROP)
        assert_true(oc_span(k->oracle, &w));
    return w;
}

static double current_through(const checks *k, const oc_watch *w, int element)
{
    double sum = k->oracle->element[w->subject].current;
    for (int l = 0; w->also != NULL && l < k->oracle->elements; l++)
        if (w->also[l] && k->oracle->element[l].every[element])
            sum += k->oracle->element[l].current;
    return sum;
}

/* Whether nine in ten bad ones are found; 0.9 itself is too near to tell. */
static void check_shows(checks *k, const rl_case *c, const char *id, double slips, bool shows)
{
    if (fabs(slips - 0.1) > AT && shows != (slips < 0.1))
        differ(k, c, id, "shows", shows, slips);
    k->shows += shows;
}

static void check_reading(checks *k, const rl_case *c, const oc_case *oc, size_t element, double battery,
                          const rl_proof_reading *r)
{
    const char *id = rl_model_element(k->model, element)->id;
    int e = of_oracle(k, element);
    oc_watch w = watch_of(k, r);
    look_at l;
    set_up(&l, oc, battery, &w);
    k->readings++;
    near(k, c, id, "P(healthy below its 5 %)", healthy_below(&l, r->test.healthy_low), 0.05, AT);
    near(k, c, id, "P(healthy below its 95 %)", healthy_below(&l, r->test.healthy_high), 0.95, AT);
    near(k, c, id, "P(bad below its 5 %)", bad_below(&l, e, r->test.suspect_low), 0.05, AT);
    near(k, c, id, "P(bad below its 95 %)", bad_below(&l, e, r->test.suspect_high), 0.95, AT);
    near(k, c, id, "current", r->current, current_through(k, &w, e), 1e-12 * r->current);
    double good = healthy_below(&l, r->bound), slips = bad_below(&l, e, r->bound);
    if (w.sort == OC_SUPPLY) {
        near(k, c, id, "P(good supply below its bound)", good, 0.01, AT);
        slips = 1 - slips;
    } else if (r->bound > r->test.healthy_high) {
        near(k, c, id, "bound", r->bound, r->test.limit, 0);
    } else {
        near(k, c, id, "P(good drop passes)", good, 0.95, AT);
    }
    if (w.sort == OC_DROP && !(good >= 0.95 - AT))
        differ(k, c, id, "P(good drop passes)", good, 0.95);
    check_shows(k, c, id, slips, r->shows);
}

/* ---- readings that were taken ---- */

/* The oracle's reading of a line: the n-th drop or supply that counts. */
static const oc_finding *taken_in_oracle(const rl_case *c, const oc_case *oc, size_t line)
{
    int ahead = 0;
    for (size_t i = 0; i < line; i++) {
        const rl_line *l = rl_case_line(c, i);
        ahead += !l->replaced && (strncmp(l->text, "drop ", 5) == 0 || strncmp(l->text, "supply ", 7) == 0);
    }
    for (int i = 0; i < oc->findings; i++) {
        const oc_finding *f = &oc->finding[i];
        if (!f->replaced && (f->watch.sort == OC_DROP || f->watch.sort == OC_SUPPLY) && ahead-- == 0)
            return f;
    }
    fail_msg("no such reading");
    return NULL;
}

static rl_taken_word word_of(look_at *l, const rl_taken *t)
{
    if (t->supply ? t->value < t->bound : t->value > t->bound)
        return RL_TAKEN_BEYOND;
    return !t->supply && healthy_below(l, t->value) < 0.001 ? RL_TAKEN_FAINT : RL_TAKEN_GOOD;
}

static void check_taken(checks *k, const rl_case *c, const oc_case *oc, size_t element, const rl_taken *t)
{
    const char *id = rl_model_element(k->model, element)->id;
    const oc_finding *f = taken_in_oracle(c, oc, t->line);
    int e = of_oracle(k, element);
    look_at l;
    set_up(&l, oc, oc->occasion[f->watch.occasion].battery, &f->watch);
    k->takens++;
    near(k, c, id, "value taken", t->value, f->value, 0);
    near(k, c, id, "P(healthy below its 5 %), taken", healthy_below(&l, t->healthy_low), 0.05, AT);
    near(k, c, id, "P(healthy below its 95 %), taken", healthy_below(&l, t->healthy_high), 0.95, AT);
    double good = healthy_below(&l, t->bound), slips = bad_below(&l, e, t->bound);
    if (t->supply)
        near(k, c, id, "P(good supply below its bound), taken", good, 0.01, AT);
    else if (!(good >= 0.95 - AT))
        differ(k, c, id, "P(good drop passes), taken", good, 0.95);
    check_shows(k, c, id, t->supply ? 1 - slips : slips, t->shows);
    near(k, c, id, "word", t->word, word_of(&l, t), 0);
}

/* ---- what else may be at fault ---- */

/* P(some element of the set is not sound | findings) */
static double any_fault(const checks *k, oc_case *oc, double log_evidence, const bool *set)
{
    double kept[MOST][RL_STATES], sound = 1;
    for (int e = 0; e < k->oracle->elements; e++) {
        double *prior = k->oracle->element[e].prior;
        memcpy(kept[e], prior, sizeof kept[e]);
        if (!set[e])
            continue;
        sound *= prior[RL_SOUND];
        memset(prior, 0, sizeof kept[e]);
        prior[RL_SOUND] = 1;
    }
    double given = oc_log_evidence(oc, BOUND);
    for (int e = 0; e < k->oracle->elements; e++)
        memcpy(k->oracle->element[e].prior, kept[e], sizeof kept[e]);
    return 1 - sound * exp(given - log_evidence);
}

/* Something amiss that was looked at, under no condition but repairs. */
static bool is_look(const oc_finding *f)
{
    const oc_watch *w = &f->watch;
    if (f->replaced || f->from_others || w->sort == OC_INSPECTION || oc_is_reading(w->sort))
        return false;
    return w->sort != OC_BEHAVIOUR || !(w->bypass || w->swap || w->jumper || w->bypass_at != NULL);
}

static bool same_thing(const oc_finding *a, const oc_finding *b)
{
    return a->watch.sort == b->watch.sort && a->watch.subject == b->watch.subject && a->watch.other == b->watch.other
        && a->watch.named == b->watch.named;
}

/* What it hangs on in a world without repairs, and what it names: the loads of a pair, a load
 * of whose return or feed a symptom comes. */
static void hangs_on(const oc_case *oc, const oc_finding *f, bool *on)
{
    look_at l;
    bool some[MOST] = {false};
    set_up(&l, oc, 0, &f->watch);
    oc_depends(&l.world, &l.watch, some);
    for (int e = 0; e < oc->model->elements; e++)
        on[e] = on[e] || some[e];
    if (f->watch.sort == OC_BACKFEED || f->watch.sort == OC_PULL)
        on[f->watch.subject] = on[f->watch.other] = true;
    for (int i = 0; f->watch.sort == OC_SYMPTOM && i < oc->model->symptom[f->watch.named].causes; i++)
        on[oc->model->symptom[f->watch.named].cause[i].element] = true;
}

static void leave_out(const checks *k, const rl_proof *proof, int element, bool *set)
{
    set[element] = false;
    for (size_t i = 0; i < proof->repaired_count; i++)
        set[of_oracle(k, proof->repaired[i])] = false;
}

static void check_rest(checks *k, const rl_case *c, oc_case *oc, size_t element, double log_evidence, const rl_proof *proof)
{
    const char *id = rl_model_element(k->model, element)->id;
    bool set[MOST] = {false}, all[MOST];
    double sound = 1;
    for (int i = 0; i < oc->findings; i++)
        if (is_look(&oc->finding[i]) && !oc->finding[i].names_first)
            hangs_on(oc, &oc->finding[i], set);
    memset(all, true, sizeof all);
    leave_out(k, proof, of_oracle(k, element), set);
    leave_out(k, proof, of_oracle(k, element), all);
    near(k, c, id, "none_else", proof->none_else, 1 - any_fault(k, oc, log_evidence, all), NEAR);
    if (proof->complaints == 0)
        return;
    for (int e = 0; e < k->oracle->elements; e++)
        sound *= set[e] ? k->oracle->element[e].prior[RL_SOUND] : 1;
    near(k, c, id, "rest_before", proof->rest_before, 1 - sound, NEAR);
    near(k, c, id, "rest", proof->rest, any_fault(k, oc, log_evidence, set), NEAR);
}

/* ---- complaints and the verdict ---- */

static bool has_repair(const oc_case *oc, int occasion)
{
    const bool *repaired = oc->occasion[occasion].repaired;
    for (int e = 0; repaired != NULL && e < oc->model->elements; e++)
        if (repaired[e])
            return true;
    return false;
}

static int last_repair(const oc_case *oc)
{
    int o = oc->occasions - 1;
    while (o >= 0 && !has_repair(oc, o))
        o--;
    return o;
}

static bool is_mended(const oc_case *oc, int element)
{
    for (int o = 0; o < oc->occasions; o++)
        if (oc->occasion[o].repaired != NULL && oc->occasion[o].repaired[element])
            return true;
    return false;
}

typedef struct tally { size_t complaints, still, unseen; } tally;

/* How it stands after the last look at it in a world with a repair: gone, still there, or not seen. */
static void follow(const oc_case *oc, const oc_finding *first, bool *gone, bool *seen)
{
    *gone = *seen = false;
    for (int i = 0; i < oc->findings; i++) {
        const oc_finding *f = &oc->finding[i];
        bool repaired = has_repair(oc, f->watch.occasion) || f->watch.repaired != NULL;
        if (f->replaced || !repaired || !same_thing(f, first) || !(is_look(f) || f->from_others))
            continue;
        *gone = f->names_first;
        *seen = *gone || f->watch.occasion >= last_repair(oc);
    }
}

static tally complaints_of(const oc_case *oc)
{
    tally t = {0, 0, 0};
    bool only_symptoms = true;
    for (int turn = 0; turn < 2; turn++)
        for (int i = 0; i < oc->findings; i++) {
            const oc_finding *f = &oc->finding[i];
            bool gone, seen, known = false;
            if (!is_look(f) || f->names_first)
                continue;
            for (int n = 0; n < i; n++)
                known = known || (is_look(&oc->finding[n]) && !oc->finding[n].names_first && same_thing(&oc->finding[n], f));
            only_symptoms = only_symptoms && f->watch.sort == OC_SYMPTOM;
            if (known || turn == 0)
                continue;
            follow(oc, f, &gone, &seen);
            t.complaints++;
            t.unseen += !seen && (f->watch.sort != OC_SYMPTOM || only_symptoms);
            t.still += seen && !gone;
        }
    return t;
}

/* The rule of ringlug.h. */
static rl_verdict verdict_of(const oc_case *oc, int element, const tally *t, const rl_proof *proof)
{
    bool beyond = false, good = false, wanted = false;
    for (size_t i = 0; i < proof->takens; i++) {
        beyond = beyond || proof->taken[i].word == RL_TAKEN_BEYOND;
        good = good || (proof->taken[i].word == RL_TAKEN_GOOD && proof->taken[i].shows);
    }
    for (size_t i = 0; i < proof->readings; i++)
        wanted = wanted || proof->reading[i].shows;
    if (!is_mended(oc, element))
        return RL_PROOF_NONE;
    if (t->still > 0 || beyond)
        return RL_PROOF_FAILED;
    if (t->unseen > 0 || (wanted && !good))
        return RL_PROOF_OPEN;
    bool well = proof->rest <= proof->rest_before + NEAR || proof->rest <= 0.05;
    return proof->at_fault >= 0.9 && well ? RL_PROOF_CONFIRMED : RL_PROOF_DOUBTFUL;
}

/* ---- proofs ---- */

static double battery_after(const oc_case *oc, int element)
{
    const oc_occasion *last = &oc->occasion[oc->occasions - 1];
    return last->repaired != NULL && last->repaired[element] ? last->battery : 0;
}

static void check_proof(checks *k, rl_case *c, oc_case *oc, size_t element, double log_evidence)
{
    const char *id = rl_model_element(k->model, element)->id;
    int e = of_oracle(k, element);
    const rl_proof *proof;
    assert_int_equal(rl_case_proof(c, element, &proof), RL_OK);
    tally t = complaints_of(oc);
    bool alone[MOST] = {false};
    alone[e] = true;
    k->proofs++;
    near(k, c, id, "at_fault", proof->at_fault, any_fault(k, oc, log_evidence, alone), NEAR);
    near(k, c, id, "complaints", (double)proof->complaints, (double)t.complaints, 0);
    near(k, c, id, "still", (double)proof->still, (double)t.still, 0);
    near(k, c, id, "unseen", (double)proof->unseen, (double)t.unseen, 0);
    near(k, c, id, "verdict", proof->verdict, verdict_of(oc, e, &t, proof), 0);
    check_rest(k, c, oc, element, log_evidence, proof);
    for (size_t i = 0; i < proof->readings; i++)
        check_reading(k, c, oc, element, battery_after(oc, e), &proof->reading[i]);
    for (size_t i = 0; i < proof->takens; i++)
        check_taken(k, c, oc, element, &proof->taken[i]);
    k->confirmed += proof->verdict == RL_PROOF_CONFIRMED;
    k->failed += proof->verdict == RL_PROOF_FAILED;
}

/* ---- the case goes on ---- */

/* Adds lines of the case that count, an occasion after the repair, the readings that
 * would prove it with values about their bounds, and complaints that are gone, or not. */
static void go_on(const checks *k, rl_case *c, size_t element, uint64_t *random, int number, char *text)
{
    static const double part[] = {0.02, 0.4, 0.99, 1.01, 3};
    const rl_proof *proof;
    assert_int_equal(rl_case_proof(c, element, &proof), RL_OK);
    char *to = text + sprintf(text, "case \"%s.%d\" on rnd \"goes on\"\n", rl_case_name(c), number);
    for (size_t i = 0; i < rl_case_lines(c); i++)
        if (!rl_case_line(c, i)->replaced)
            to += sprintf(to, "%s\n", rl_case_line(c, i)->text);
    to += sprintf(to, "occasion after with repaired %s\n", rl_model_element(k->model, element)->id);
    for (size_t i = 0; i < proof->readings; i++) {
        const rl_proof_reading *r = &proof->reading[i];
        to += sprintf(to, "%s %.6g V", r->test.text, r->bound * part[draw_next(random) % 5]);
        for (size_t n = 0; n < r->also_count; n++)
            to += sprintf(to, "%s%s", n == 0 ? " also " : ", ", rl_model_element(k->model, r->also[n])->id);
        to += sprintf(to, "\n");
    }
    for (size_t i = 0; i < proof->complaints; i++) {
        const char *look = proof->complaint[i].text;
        int load = rl_model_find(k->model, look);
        if (draw_next(random) % 4 == 0)
            continue;
        if (load >= 0)
            to += sprintf(to, "%s%s %s\n", look, draw_next(random) % 8 == 0 ? " not" : "",
                          rl_model_kind(k->model, (size_t)rl_model_element(k->model, (size_t)load)->kind)->level[0]);
        else
            to += sprintf(to, "%s %s\n", look, draw_next(random) % 8 == 0 ? "present" : "absent");
    }
    sprintf(to, "\n");
}

/* ---- drawn vehicles ---- */

/* Elements asked about: what is likeliest to be at fault, and others at random. */
static size_t pick(const checks *k, const rl_answer *a, uint64_t *random, size_t *out)
{
    size_t elements = rl_model_vehicle(k->model)->elements, best = 0, count = 0;
    for (size_t e = 0; e < elements; e++)
        if (a->belief[e].p[RL_SOUND] < a->belief[best].p[RL_SOUND])
            best = e;
    out[count++] = best;
    while (count < MOST_PROOFS)
        out[count++] = (size_t)(draw_next(random) % elements);
    return count;
}

/* Asks about each case of the file; `more`, if not NULL, gets the same cases continued. */
static void ask_all(checks *k, rl_book *book, uint64_t *random, char *more, size_t room)
{
    size_t cases, filled = 0;
    oc_case **list = oc_cases_read(k->oracle, drawn_path("v.case"), &cases);
    assert_int_equal(cases, rl_book_count(book));
    for (size_t i = 0; i < cases; i++) {
        rl_case *c = rl_book_case(book, i);
        const rl_answer *answer;
        size_t element[MOST_PROOFS];
        double log_evidence = oc_log_evidence(list[i], BOUND);
        if (isnan(log_evidence) || rl_case_answer(c, &answer) != RL_OK)
            continue;
        size_t count = pick(k, answer, random, element);
        for (size_t n = 0; n < count; n++) {
            check_proof(k, c, list[i], element[n], log_evidence);
            if (more == NULL || rl_model_element(k->model, element[n])->sort == RL_LOAD)
                continue;
            assert_true(filled + 4096 < room);
            go_on(k, c, element[n], random, (int)n, more + filled);
            filled += strlen(more + filled);
        }
    }
}

static void ask_vehicle(rl_context *context, uint64_t seed, checks *k)
{
    static drawn text;
    static char more[1 << 17];
    rl_model *model = NULL;
    rl_book *book = NULL, *continued = NULL;
    uint64_t random = seed;
    drawn_put(seed, &text);
    drawn_read(context, &model, &book);
    k->seed = seed;
    k->model = model;
    k->oracle = oc_model_read(drawn_path("v.gnd"));
    assert_non_null(k->oracle);
    assert_true(k->oracle->elements <= MOST);
    more[0] = '\0';
    ask_all(k, book, &random, more, sizeof more);
    drawn_write("v.case", more);
    assert_int_equal(rl_book_read(context, model, drawn_path("v.case"), &continued), RL_OK);
    ask_all(k, continued, &random, NULL, 0);
    rl_book_free(continued);
    rl_book_free(book);
    oc_model_free(k->oracle);
    rl_model_free(model);
}

static void drawn_vehicles(void **state)
{
    (void)state;
    uint64_t first = drawn_setting("RANDOM_SEED", 1), count = drawn_setting("RANDOM_COUNT", 24);
    rl_context *context = disk_context(NULL);
    checks k = {.bad = 0};
    for (uint64_t seed = first; seed < first + count; seed++)
        ask_vehicle(context, seed, &k);
    rl_context_free(context);
    print_message("%zu proofs, %zu confirmed and %zu failed; %zu readings and %zu taken, of which %zu show\n", k.proofs,
                  k.confirmed, k.failed, k.readings, k.takens, k.shows);
    assert_int_equal(k.bad, 0);
    assert_true(k.proofs >= 2 * count && k.readings > count && k.takens > count);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(drawn_vehicles)};
    return cmocka_run_group_tests(tests, drawn_make, drawn_drop) != 0;
}

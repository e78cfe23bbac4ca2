/* audit_alike.c: which faults no look, and which no test, tells apart.
 *
 * A fault is one element in one state, all else sound, its hidden detail
 * summed out.  Its signature holds the laws of all tests that come out other
 * than where nothing is at fault, and of nothing else: a wire's is short
 * however large the vehicle is.
 *
 * Invariant: marks of a signature stand in the order of the tests, looks
 * first; signatures of equal marks have equal hashes.
 */
#include "audit.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Laws that differ by no more are equal. */
static const double EQUAL = 1e-12;
/* Probability by which laws of looks differ that one look hardly tells apart. */
static const double CLOSE = 0.05;

typedef enum manner { BY_ALL, BY_LOOKS, BY_FEW } manner;   /* BY_FEW: looks that are close, but not equal */

/* One test that shows the fault: the numbers of its law. */
typedef struct mark { int test, count; const double *number; } mark;

typedef struct signature {
    rl_fault fault;
    double p;
    rl_growing marks;
    size_t looks;              /* marks of looks */
    uint64_t hash_of_looks, hash;
    bool taken;                /* stands in a group of those at hand */
} signature;

typedef struct finder {
    rl_audit *audit;
    rl_lab lab;
    rl_candidates tests;
    signature *fault;
    size_t faults;
    int *first;                /* by element: its first fault; the others follow */
    rl_growing groups;         /* of rl_alike */
} finder;

static bool near(double a, double b)
{
    return a == b || fabs(a - b) <= EQUAL * fmax(1, fmax(fabs(a), fabs(b)));
}

static bool same_numbers(const double *a, int count, const double *b, int other)
{
    if (count != other)
        return false;
    for (int i = 0; i < count; i++)
        if (!near(a[i], b[i]))
            return false;
    return true;
}

/* ---- laws as lists of numbers ---- */

/* A law of outcomes: their probabilities. */
static void outcome_numbers(finder *f, const rl_trial *t, const rl_detail *d, int element, rl_growing *out)
{
    double law[RL_MAX_LEVELS + 2];
    int outcomes = rl_trial_outcomes(&f->lab, t);
    for (int k = 0; k < outcomes; k++)
        *(double *)rl_grow(f->lab.scratch, out, sizeof(double)) = 0;
    for (int i = 0; i < d->count; i++) {
        f->lab.row[element] = d->row[i];
        rl_trial_law(&f->lab, t, law);
        for (int k = 0; k < outcomes; k++)
            ((double *)out->at)[k] += d->p[i] * law[k];
    }
    f->lab.row[element] = 0;
}

static void put_number(finder *f, rl_growing *out, double number)
{
    *(double *)rl_grow(f->lab.scratch, out, sizeof number) = number;
}

/* Sort and law of an end; which element it is of does not show. */
static void put_end(finder *f, rl_growing *out, const rl_end *end)
{
    const rl_true *law = &end->law;
    put_number(f, out, (int)end->sort * 8 + (end->sort == RL_END_LAW ? (int)law->sort : 0));
    if (end->sort != RL_END_LAW)
        return;
    put_number(f, out, law->base);
    for (int i = 0; law->sort == RL_TRUE_WAY && i < law->terms; i++) {
        put_number(f, out, law->term[i].scale);
        put_number(f, out, law->term[i].log_spread);
    }
    if (law->sort != RL_TRUE_COUNTS)
        return;
    const double number[] = {law->scale, law->median, law->log_spread, law->low, law->high};
    for (size_t i = 0; i < sizeof number / sizeof *number; i++)
        put_number(f, out, number[i]);
}

/* A law of ends: each of them once, with its probability before it. */
static void end_numbers(finder *f, const rl_trial *t, const rl_detail *d, int element, rl_growing *out)
{
    rl_growing *ends = rl_many(f->lab.scratch, d->count, rl_growing);
    double *p = rl_many(f->lab.scratch, d->count, double);
    int count = 0;
    for (int i = 0; i < d->count; i++) {
        rl_growing fresh = {NULL, 0, 0};
        f->lab.row[element] = d->row[i];
        rl_end end = rl_trial_end(&f->lab, t);
        put_end(f, &fresh, &end);
        int at = 0;
        while (at < count && !same_numbers(ends[at].at, (int)ends[at].count, fresh.at, (int)fresh.count))
            at++;
        if (at == count)
            ends[count++] = fresh;
        p[at] += d->p[i];
    }
    f->lab.row[element] = 0;
    for (int i = 0; i < count; i++) {
        put_number(f, out, p[i]);
        for (size_t k = 0; k < ends[i].count; k++)
            put_number(f, out, ((double *)ends[i].at)[k]);
    }
}

static rl_growing numbers_of(finder *f, const rl_trial *t, int element, rl_state state)
{
    rl_growing out = {NULL, 0, 0};
    if (t->test->sort == RL_TEST_INSPECTION) {
        const double *row = f->lab.model->look[t->test->named].row[state];
        for (int k = 0; k < rl_trial_outcomes(&f->lab, t); k++)
            put_number(f, &out, row[k]);
        return out;
    }
    rl_detail d = rl_lab_detail(&f->lab, f->lab.scratch, element, state);
    if (rl_trial_reads(t))
        end_numbers(f, t, &d, element, &out);
    else
        outcome_numbers(f, t, &d, element, &out);
    return out;
}

/* ---- signatures ---- */

static void add_mark(finder *f, signature *s, int test, const rl_growing *numbers)
{
    double *kept = rl_many(f->lab.arena, numbers->count, double);
    memcpy(kept, numbers->at, numbers->count * sizeof *kept);
    *(mark *)rl_grow(f->lab.arena, &s->marks, sizeof(mark)) = (mark){test, (int)numbers->count, kept};
    s->hash = (s->hash ^ (uint64_t)(unsigned)test) * 0x100000001b3u;
}

/* The test under each fault of an element, beside what it shows where nothing is at fault. */
static void try_element(finder *f, const rl_trial *t, int test, int element)
{
    rl_growing sound = numbers_of(f, t, element, RL_SOUND);
    for (size_t i = (size_t)f->first[element]; i < f->faults && f->fault[i].fault.element == (size_t)element; i++) {
        rl_growing now = numbers_of(f, t, element, f->fault[i].fault.state);
        if (!same_numbers(sound.at, (int)sound.count, now.at, (int)now.count))
            add_mark(f, &f->fault[i], test, &now);
    }
}

static void try_test(finder *f, int test)
{
    rl_mark before = rl_arena_mark(f->lab.scratch);
    rl_trial t;
    rl_trial_make(&f->lab, f->lab.scratch, &f->tests.at[test], &t);
    for (int i = 0; i < t.elements; i++)
        try_element(f, &t, test, t.element[i]);
    rl_arena_rewind(f->lab.scratch, before);
}

static bool is_look(const rl_test *test)
{
    return test->sort == RL_TEST_BEHAVIOUR || test->sort == RL_TEST_SYMPTOM;
}

static void list_faults(finder *f)
{
    const rl_model *m = f->lab.model;
    f->fault = rl_many(f->lab.arena, 3 * m->nodes + 1, signature);
    f->first = rl_many(f->lab.arena, m->nodes, int);
    for (int e = 0; e < m->nodes; e++) {
        f->first[e] = (int)f->faults;
        for (int s = RL_LOOSE; s < RL_STATES; s++)
            if (m->node[e].info.prior[s] > 0)
                f->fault[f->faults++] = (signature){.fault = {(size_t)e, (rl_state)s}, .p = m->node[e].info.prior[s]};
    }
}

/* Tests are listed looks first. */
static void sign_all(finder *f)
{
    int test = 0;
    for (; test < f->tests.count && is_look(&f->tests.at[test]); test++)
        try_test(f, test);
    for (size_t i = 0; i < f->faults; i++) {
        f->fault[i].looks = f->fault[i].marks.count;
        f->fault[i].hash_of_looks = f->fault[i].hash;
    }
    for (; test < f->tests.count; test++) {
        assert(!is_look(&f->tests.at[test]));
        try_test(f, test);
    }
}

/* ---- groups ---- */

static const mark *marks_of(const signature *s)
{
    return s->marks.at;
}

/* By how much the laws of two faults' looks differ at most, where they show in the same looks; else 1. */
static double apart(const signature *a, const signature *b)
{
    double most = 0;
    if (a->looks != b->looks || a->hash_of_looks != b->hash_of_looks)
        return 1;
    for (size_t i = 0; i < a->looks; i++) {
        const mark *x = &marks_of(a)[i], *y = &marks_of(b)[i];
        double sum = 0;
        if (x->test != y->test)
            return 1;
        assert(x->count == y->count);   /* outcomes of one look */
        for (int k = 0; k < x->count; k++)
            sum += fabs(x->number[k] - y->number[k]) / 2;
        most = fmax(most, sum);
    }
    return most;
}

static bool same_marks(const signature *a, const signature *b, bool all)
{
    size_t count = all ? a->marks.count : a->looks;
    if (count != (all ? b->marks.count : b->looks) || (all ? a->hash != b->hash : a->hash_of_looks != b->hash_of_looks))
        return false;
    for (size_t i = 0; i < count; i++) {
        const mark *x = &marks_of(a)[i], *y = &marks_of(b)[i];
        if (x->test != y->test || !same_numbers(x->number, x->count, y->number, y->count))
            return false;
    }
    return true;
}

static const mark *mark_of(const signature *s, int test)
{
    size_t low = 0, high = s->marks.count;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (marks_of(s)[middle].test < test)
            low = middle + 1;
        else
            high = middle;
    }
    return low < s->marks.count && marks_of(s)[low].test == test ? &marks_of(s)[low] : NULL;
}

/* Whether a test comes out otherwise under two faults. */
static bool differs(const signature *a, const signature *b, int test)
{
    const mark *x = mark_of(a, test), *y = mark_of(b, test);
    if (!x || !y)
        return x || y;
    return !same_numbers(x->number, x->count, y->number, y->count);
}

static bool separates(signature *const *member, size_t count, int test)
{
    for (size_t i = 1; i < count; i++)
        if (differs(member[0], member[i], test))
            return true;
    return false;
}

/* The quickest test that tells some of a group apart, or, of what looks sound, from sound; -1: none. */
static int quickest(const finder *f, signature *const *member, size_t count)
{
    int best = -1;
    bool as_sound = member[0]->looks == 0;
    for (size_t i = 0; i < count; i++)
        for (size_t k = member[i]->looks; k < member[i]->marks.count; k++) {
            int test = marks_of(member[i])[k].test;
            const rl_test *now = &f->tests.at[test], *so_far = best >= 0 ? &f->tests.at[best] : NULL;
            if (so_far && (now->minutes > so_far->minutes || test == best))
                continue;
            if (so_far && !(now->minutes < so_far->minutes) && strcmp(now->text, so_far->text) >= 0)
                continue;
            if (as_sound || separates(member, count, test))
                best = test;
        }
    return best;
}

/* Tests but looks that show any of the members, each once. */
static const rl_test **shown_by(finder *f, signature *const *member, size_t count, int *tests)
{
    bool *shows = rl_many(f->lab.scratch, f->tests.count + 1, bool);
    *tests = 0;
    for (size_t i = 0; i < count; i++)
        for (size_t k = member[i]->looks; k < member[i]->marks.count; k++) {
            bool *now = &shows[marks_of(member[i])[k].test];
            *tests += !*now;
            *now = true;
        }
    const rl_test **list = rl_many(f->lab.scratch, *tests + 1, const rl_test *);
    for (int t = 0, at = 0; t < f->tests.count; t++)
        if (shows[t])
            list[at++] = &f->tests.at[t];
    return list;
}

/* Numbers members that a test brings the same law to alike. */
static void part_by(const finder *f, signature *const *member, int count, const rl_test *test, int *part)
{
    int parts = 0, *first = rl_many(f->lab.scratch, count, int);
    for (int i = 0; i < count; i++) {
        int p = 0;
        while (p < parts && differs(member[first[p]], member[i], (int)(test - f->tests.at)))
            p++;
        part[i] = p;
        if (p == parts)
            first[parts++] = i;
    }
}

/* How to tell all members apart, as far as tests do. */
static void tell_apart(finder *f, signature *const *member, rl_alike *g)
{
    signature sound = {.looks = 0};
    rl_mark before = rl_arena_mark(f->lab.scratch);
    rl_split split = {.members = (int)g->count + g->as_sound};
    signature **all = rl_many(f->lab.scratch, split.members, signature *);
    memcpy(all, member, g->count * sizeof(signature *));
    if (g->as_sound)
        all[g->count] = &sound;
    split.test = shown_by(f, member, g->by_all ? 0 : g->count, &split.tests);
    int *part = rl_arena_array(f->lab.scratch, (size_t)split.tests + 1, (size_t)split.members * sizeof *part);
    for (int t = 0; t < split.tests; t++) {
        rl_mark here = rl_arena_mark(f->lab.scratch);
        part_by(f, all, split.members, split.test[t], &part[(size_t)t * (size_t)split.members]);
        rl_arena_rewind(f->lab.scratch, here);
    }
    split.part = part;
    rl_audit_apart(f->lab.model, &f->audit->arena, f->lab.scratch, &split, g);
    rl_arena_rewind(f->lab.scratch, before);
}

static void put_group(finder *f, signature *const *member, size_t count, manner by)
{
    bool all = by == BY_ALL;
    rl_arena *arena = &f->audit->arena;
    rl_fault *faults = rl_many(arena, count, rl_fault);
    rl_alike *g = rl_grow(arena, &f->groups, sizeof *g);
    *g = (rl_alike){.by_all = all, .faults = faults, .count = count, .element = -1, .other = -1};
    g->as_sound = all ? member[0]->marks.count == 0 : member[0]->looks == 0;
    for (size_t i = 0; i < count; i++) {
        faults[i] = member[i]->fault;
        g->p += member[i]->p;
        g->apart = by == BY_FEW ? fmax(g->apart, apart(member[0], member[i])) : 0;
    }
    tell_apart(f, member, g);
    int test = all ? -1 : quickest(f, member, count);
    if (test < 0) {
        rl_audit_remedy(f->lab.model, g);
        return;
    }
    g->remedy = RL_REMEDY_TEST;
    g->test = rl_arena_copy(arena, f->tests.at[test].text, strlen(f->tests.at[test].text));
    g->minutes = f->tests.at[test].minutes;
}

static int compare_signatures(const void *a, const void *b)
{
    const signature *x = *(signature *const *)a, *y = *(signature *const *)b;
    if (x->hash_of_looks != y->hash_of_looks)
        return x->hash_of_looks < y->hash_of_looks ? -1 : 1;
    return x < y ? -1 : x > y;   /* in the order of declaration */
}

static bool belongs(const signature *first, const signature *s, manner by)
{
    return by == BY_FEW ? apart(first, s) <= CLOSE : same_marks(first, s, by == BY_ALL);
}

/* Whether members make a group of their manner: several, or one that looks sound.  What is close
 * and equal throughout is a group already. */
static bool is_group(signature *const *member, size_t count, manner by)
{
    if (by == BY_FEW) {
        for (size_t i = 1; i < count; i++)
            if (!same_marks(member[0], member[i], false))
                return true;
        return false;
    }
    return count > 1 || (by == BY_ALL ? member[0]->marks.count : member[0]->looks) == 0;
}

/* Groups among `count` faults of one hash of looks; `member` is room for them. */
static void group(finder *f, signature **list, size_t count, manner by, signature **member)
{
    for (size_t i = 0; i < count; i++)
        list[i]->taken = false;
    for (size_t i = 0; i < count; i++) {
        size_t members = 0;
        if (list[i]->taken)
            continue;
        for (size_t k = i; k < count; k++)
            if (!list[k]->taken && belongs(list[i], list[k], by)) {
                list[k]->taken = true;
                member[members++] = list[k];
            }
        if (is_group(member, members, by))
            put_group(f, member, members, by);
    }
}

/* What is alike by all tests is alike by looks: signatures of one hash of looks stand together. */
static void group_all(finder *f)
{
    signature **list = rl_many(f->lab.arena, f->faults + 1, signature *);
    signature **member = rl_many(f->lab.arena, f->faults + 1, signature *);
    for (size_t i = 0; i < f->faults; i++)
        list[i] = &f->fault[i];
    if (f->faults > 0)
        qsort(list, f->faults, sizeof(signature *), compare_signatures);
    for (size_t from = 0, to; from < f->faults; from = to) {
        for (to = from + 1; to < f->faults && list[to]->hash_of_looks == list[from]->hash_of_looks; to++)
            ;
        for (manner by = BY_ALL; by <= BY_FEW; by++)
            group(f, &list[from], to - from, by, member);
    }
}

static int compare_groups(const void *a, const void *b)
{
    const rl_alike *x = a, *y = b;
    double p = rl_coarse(x->p), q = rl_coarse(y->p);
    if (x->by_all != y->by_all)
        return x->by_all ? -1 : 1;
    if (p > q || p < q)
        return p > q ? -1 : 1;
    const rl_fault *f = x->faults, *g = y->faults;
    if (f->element != g->element)
        return f->element < g->element ? -1 : 1;
    return f->state < g->state ? -1 : f->state > g->state;
}

/* Elements with faults none of which shows in a look. */
static void list_unseen(finder *f)
{
    rl_growing unseen = {NULL, 0, 0};
    for (size_t i = 0; i < f->faults;) {
        size_t element = f->fault[i].fault.element;
        bool seen = false;
        for (; i < f->faults && f->fault[i].fault.element == element; i++)
            seen = seen || f->fault[i].looks > 0;
        if (!seen)
            *(size_t *)rl_grow(&f->audit->arena, &unseen, sizeof(size_t)) = element;
    }
    f->audit->report.unseen = unseen.at;
    f->audit->report.unseens = unseen.count;
}

void rl_audit_alike(rl_audit *audit)
{
    rl_mark before = rl_arena_mark(&audit->work);
    finder f = {.audit = audit};
    rl_lab_make(&f.lab, &audit->work, &audit->scratch, audit->kase);
    rl_admit_all(&f.tests, &audit->work, audit->kase);
    rl_audit_crosstalk(&f.lab, audit->model, &f.tests);
    list_faults(&f);
    sign_all(&f);
    group_all(&f);
    if (f.groups.count > 0)
        qsort(f.groups.at, f.groups.count, sizeof(rl_alike), compare_groups);
    audit->report.alike = f.groups.at;
    audit->report.alikes = f.groups.count;
    list_unseen(&f);
    rl_arena_rewind(&audit->work, before);
}

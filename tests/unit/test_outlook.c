/* test_outlook.c: the order of repairs, expected minutes, and two tests ahead, against
 * tests/data/diagnosis.json (p_over_c), enumeration of all orders, and arithmetic by hand.
 */
#include "held/setting.h"
#include "held/published.h"
#include "held/small.h"
#include "mend.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <jansson.h>

enum { MOST_JOBS = 6, AREAS = 3, DRAWN = 300, TEXT = 2048 };

static void near(double got, double want)
{
    if (!(fabs(got - want) <= 1e-9 * fmax(1, fabs(want))))
        fail_msg("got %.17g, expected %.17g", got, want);
}

/* ---- an arena that ends the program when memory does ---- */

static void *take(void *user, size_t size)
{
    (void)user;
    return malloc(size);
}

static void give(void *user, void *piece)
{
    (void)user;
    free(piece);
}

static const rl_allocator memory = {take, give, NULL};

/* ---- the order, against data and enumeration ---- */

/* Expected minutes of an order, by their definition: exactly one job cures. */
static double minutes_of(const rl_mend_job *job, const int *order, int count, const double *access)
{
    bool open[AREAS] = {false};
    double left = 0, sum = 0;
    for (int i = 0; i < count; i++)
        left += job[i].p;
    for (int i = 0; i < count; i++) {
        const rl_mend_job *j = &job[order[i]];
        double minutes = j->minutes;
        if (j->area >= 0 && !open[j->area]) {
            minutes += access[j->area];
            open[j->area] = true;
        }
        sum += minutes * left;
        left -= j->p;
    }
    return sum;
}

typedef struct bounds {
    double best, worst;
} bounds;

/* All orders of order[at…], the least and the most expected minutes. */
static void try_orders(const rl_mend_job *job, int *order, int at, int count, const double *access, bounds *b)
{
    if (at == count) {
        double minutes = minutes_of(job, order, count, access);
        b->best = fmin(b->best, minutes);
        b->worst = fmax(b->worst, minutes);
        return;
    }
    for (int i = at; i < count; i++) {
        int kept = order[at];
        order[at] = order[i];
        order[i] = kept;
        try_orders(job, order, at + 1, count, access, b);
        order[i] = order[at];
        order[at] = kept;
    }
}

static bounds enumerate(const rl_mend_job *job, int count, const double *access)
{
    int order[MOST_JOBS];
    bounds b = {INFINITY, 0};
    for (int i = 0; i < count; i++)
        order[i] = i;
    try_orders(job, order, 0, count, access, &b);
    return b;
}

static bool is_order(const json_t *order, const rl_mend_job *job, int count)
{
    for (int i = 0; i < count; i++)
        if (json_integer_value(json_array_get(order, (size_t)i)) != job[i].element)
            return false;
    return true;
}

static void check_entry(const json_t *entry)
{
    const json_t *p = json_object_get(entry, "p"), *c = json_object_get(entry, "c");
    const json_t *best = json_object_get(entry, "best_orders");
    rl_mend_job job[MOST_JOBS];
    int count = (int)json_array_size(p);
    bool found = false;
    rl_arena arena;
    assert_in_range(count, 1, MOST_JOBS);
    for (int i = 0; i < count; i++)
        job[i] = (rl_mend_job){.element = i, .area = -1, .p = published_at(p, (size_t)i), .minutes = published_at(c, (size_t)i)};
    bounds all = enumerate(job, count, NULL);
    near(all.best, published_number(entry, "ecr"));
    near(all.worst, json_number_value(json_object_get(entry, "worst")));
    rl_arena_init(&arena, &memory, 0);
    rl_mend_order(job, count, NULL, 0);
    near(rl_mend_minutes(&arena, job, count, NULL, 0, NULL), published_number(entry, "ecr"));
    rl_arena_free(&arena);
    for (size_t i = 0; i < json_array_size(best); i++)
        found = found || is_order(json_array_get(best, i), job, count);
    assert_true(found);
}

static void probability_over_cost(void **state)
{
    (void)state;
    json_t *root = published("diagnosis.json");
    const json_t *list = published_list(root, "p_over_c", 6);
    for (size_t i = 0; i < json_array_size(list); i++)
        check_entry(json_array_get(list, i));
    json_decref(root);
}

/* A small generator of its own: the same on every machine. */
static unsigned draw(unsigned long long *seed, unsigned below)
{
    *seed = *seed * 6364136223846793005ULL + 1442695040888963407ULL;
    return (unsigned)(*seed >> 33) % below;
}

/* With areas to be opened, no order of all is cheaper. */
static void areas_are_opened_once(void **state)
{
    (void)state;
    unsigned long long seed = 11;
    rl_arena arena;
    rl_arena_init(&arena, &memory, 0);
    for (int n = 0; n < DRAWN; n++) {
        rl_mend_job job[MOST_JOBS];
        double access[AREAS], sum = 0;
        int count = 1 + (int)draw(&seed, MOST_JOBS);
        for (int a = 0; a < AREAS; a++)
            access[a] = draw(&seed, 20);
        for (int i = 0; i < count; i++) {
            job[i] = (rl_mend_job){.element = i, .area = (int)draw(&seed, AREAS + 1) - 1, .p = 1 + draw(&seed, 50),
                                   .minutes = draw(&seed, 30)};
            sum += job[i].p;
        }
        for (int i = 0; i < count; i++)
            job[i].p /= sum;
        bounds all = enumerate(job, count, access);
        rl_mend_order(job, count, access, AREAS);
        near(rl_mend_minutes(&arena, job, count, access, AREAS, NULL), all.best);
    }
    rl_arena_free(&arena);
}

/* Two that are alike stand as declared, whichever came out larger by rounding. */
static void rounding_orders_nothing(void **state)
{
    (void)state;
    for (int larger = 0; larger < 2; larger++) {
        rl_mend_job job[] = {{.element = 3, .area = -1, .p = 0x1.633877a7aep-14, .minutes = 37},
                             {.element = 5, .area = -1, .p = 0x1.633877a7aep-14, .minutes = 37},
                             {.element = 4, .area = -1, .p = 0.001, .minutes = 5}};
        job[larger].p = 0x1.633877a7bp-14;
        rl_mend_order(job, 3, NULL, 0);
        assert_int_equal(job[0].element, 4);
        assert_int_equal(job[1].element, 3);
        assert_int_equal(job[2].element, 5);
    }
}

static void each_job_says_its_minutes(void **state)
{
    (void)state;
    rl_mend_job job[] = {{.element = 0, .area = 0, .p = 0.5, .minutes = 4},
                         {.element = 1, .area = 0, .p = 0.4, .minutes = 6},
                         {.element = 2, .area = -1, .p = 0.1, .minutes = 50}};
    double access[] = {10}, each[3];
    rl_arena arena;
    rl_arena_init(&arena, &memory, 0);
    rl_mend_order(job, 3, access, 1);
    /* 14 at once, 6 with 0.5 left, 50 with 0.1 left */
    near(rl_mend_minutes(&arena, job, 3, access, 1, each), 14 + 6 * 0.5 + 50 * 0.1);
    near(each[0], 14);
    near(each[1], 6);
    near(each[2], 50);
    rl_arena_free(&arena);
}

/* ---- a vehicle whose numbers can be worked out by hand ---- */

/* The lamp is dead: a, b or both are open, 9/19, 9/19 and 1/19. */
static const char two_joints[] =
    "vehicle v supply 12 V\n"
    "class point open 10%%\n"
    "class wire\n"
    "kind lamp behaves normal, dead  check 2 min  when open dead 100%%\n"
    "area box access 5 min\n"
    "point b in box%s\n"
    "point a returns through b repair 10 min\n"
    "load lamp1 kind lamp draws 1 A returns through a do not bypass, swap\n"
    "inspection look of point shows whole, broken check %g min\n"
    "    when open broken 100%%\n";

static const rl_outlook *outlook_of(setting *s)
{
    const rl_outlook *o;
    assert_int_equal(rl_case_outlook(s->c, 0, &o), RL_OK);
    assert_non_null(o);
    return o;
}

static const rl_course *course_of(const rl_outlook *o, const char *text)
{
    for (size_t i = 0; i < o->courses; i++)
        if (strcmp(o->course[i].test.text, text) == 0)
            return &o->course[i];
    fail_msg("no course begins with %s", text);
    return NULL;
}

/* Blame of each: (10/19 - 1/10) / (9/10) = 9/19.  a: 10 + proof 2; b: 5 + 4 + proof 2. */
static void minutes_by_hand(void **state)
{
    (void)state;
    char rules[TEXT];
    setting s;
    snprintf(rules, sizeof rules, two_joints, " repair 4 min", 2.0);
    open_setting(&s, rules, "lamp1 dead\n");
    const rl_outlook *o = outlook_of(&s);
    assert_int_equal(o->mends, 2);
    assert_int_equal(o->mend[0].element, held_element(s.model, "b"));
    assert_false(o->mend[0].guessed);
    near(o->mend[0].p, 9.0 / 19);
    near(o->mend[0].minutes, 11);
    near(o->mend[1].minutes, 12);
    near(o->at_fault, 18.0 / 19);
    near(o->minutes, 11 * 18.0 / 19 + 12 * 9.0 / 19);
    /* a broken (10/19): b is at fault as often as before anything was seen; a whole (9/19): b it is */
    near(course_of(o, "look a")->minutes, 2 + 10.0 / 19 * 12 + 9.0 / 19 * 11);
    /* looking at b opens its box */
    near(course_of(o, "look b")->minutes, 2 + 5 + 10.0 / 19 * 6 + 9.0 / 19 * 12);
    assert_string_equal(o->course[0].test.text, "look a");
    assert_false(o->stop);
    assert_string_equal(o->advice->test.text, "look a");
    close_setting(&s);
}

static void a_dear_test_is_not_worth_it(void **state)
{
    (void)state;
    char rules[TEXT];
    setting s;
    snprintf(rules, sizeof rules, two_joints, " repair 4 min", 30.0);
    open_setting(&s, rules, "lamp1 dead\n");
    const rl_outlook *o = outlook_of(&s);
    assert_true(o->stop);
    assert_null(o->advice);
    close_setting(&s);
}

static void minutes_that_are_not_said_are_customary(void **state)
{
    (void)state;
    char rules[TEXT];
    setting s;
    snprintf(rules, sizeof rules, two_joints, "", 2.0);
    open_setting(&s, rules, "lamp1 dead\n");
    const rl_outlook *o = outlook_of(&s);
    assert_int_equal(o->mend[1].element, held_element(s.model, "b"));
    assert_true(o->mend[1].guessed);
    near(o->mend[1].repair_minutes, 15);
    near(o->mend[1].minutes, 5 + 15 + 2);
    close_setting(&s);
}

/* Repaired in vain, b is out; repaired with success, nothing is left. */
static void what_was_repaired_is_not_repaired_again(void **state)
{
    (void)state;
    char rules[TEXT];
    setting s;
    snprintf(rules, sizeof rules, two_joints, "", 2.0);
    open_setting(&s, rules, "lamp1 dead\noccasion after with repaired b\nlamp1 dead\n");
    const rl_outlook *o = outlook_of(&s);
    assert_int_equal(o->mends, 1);
    assert_int_equal(o->mend[0].element, held_element(s.model, "a"));
    close_setting(&s);
    open_setting(&s, rules, "lamp1 dead\noccasion after with repaired b\nlamp1 normal\n");
    o = outlook_of(&s);
    assert_int_equal(o->mends, 0);
    assert_false(o->stop);
    close_setting(&s);
}

static void nothing_seen_is_nothing_to_mend(void **state)
{
    (void)state;
    char rules[TEXT];
    setting s;
    snprintf(rules, sizeof rules, two_joints, "", 2.0);
    open_setting(&s, rules, "");
    const rl_outlook *o = outlook_of(&s);
    assert_int_equal(o->mends, 0);
    assert_false(o->stop);
    close_setting(&s);
}

static void a_contradiction_has_no_outlook(void **state)
{
    (void)state;
    char rules[TEXT];
    setting s;
    snprintf(rules, sizeof rules, two_joints, "", 2.0);
    open_setting(&s, rules, "lamp1 normal\nlook a broken\n");
    const rl_outlook *o;
    const rl_pair *pair;
    size_t count;
    assert_int_equal(rl_case_outlook(s.c, 0, &o), RL_CONTRADICTION);
    assert_null(o);
    assert_int_equal(rl_case_look_ahead(s.c, 0, &pair, &count), RL_CONTRADICTION);
    assert_int_equal(count, 0);
    close_setting(&s);
}

/* No test can be worked out where the answer comes from few faults at once: no stop is advised. */
static void a_bounded_answer_advises_no_stop(void **state)
{
    (void)state;
    enum { SMALL_BOUND = 4000 };
    setting s;
    const rl_answer *answer;
    const rl_pair *pair;
    size_t count;
    open_setting_within(&s, small_vehicle, "swing present\ntail_left dim\nothers work\nlook rear corroded\n"
                                           "drop tail_left from rear 0.31 V\n", SMALL_BOUND);
    assert_int_equal(rl_case_answer(s.c, &answer), RL_OK);
    assert_true(answer->bounded);
    const rl_outlook *o = outlook_of(&s);
    assert_int_equal(o->courses, 0);
    assert_true(o->mends > 0 && o->at_fault > 0.5);
    assert_false(o->stop);
    assert_int_equal(rl_case_look_ahead(s.c, 0, &pair, &count), RL_OK);
    assert_int_equal(count, 0);
    close_setting(&s);
}

/* ---- two tests ahead ---- */

static const rl_pair *pair_of(const rl_pair *pair, size_t count, const char *text)
{
    for (size_t i = 0; i < count; i++)
        if (strcmp(pair[i].first->text, text) == 0)
            return &pair[i];
    fail_msg("no pair begins with %s", text);
    return NULL;
}

static double term(double p)
{
    return p > 0 ? -p * log2(p) : 0;
}

/* look a, then look b: together they tell all there is to know of (a, b). */
static void a_pair_by_hand(void **state)
{
    (void)state;
    char rules[TEXT];
    setting s;
    const rl_pair *pair;
    size_t count;
    snprintf(rules, sizeof rules, two_joints, "", 2.0);
    open_setting(&s, rules, "lamp1 dead\n");
    assert_int_equal(rl_case_look_ahead(s.c, 0, &pair, &count), RL_OK);
    const rl_pair *p = pair_of(pair, count, "look a");
    assert_int_equal(p->follows, 2);
    assert_string_equal(p->follow[0].outcome, "whole");
    near(p->follow[0].p, 9.0 / 19);
    near(p->follow[1].p, 10.0 / 19);
    assert_null(p->follow[0].test);   /* b it is: nothing is left to be told */
    assert_string_equal(p->follow[1].test->text, "look b");
    near(p->bits, 2 * term(9.0 / 19) + term(1.0 / 19));
    near(p->minutes, 2 + 10.0 / 19 * 7);
    close_setting(&s);
}

/* Both joints lie in one box: it is opened once. */
static void an_area_counts_once(void **state)
{
    (void)state;
    setting s;
    const rl_pair *pair;
    size_t count;
    open_setting(&s,
                 "vehicle v supply 12 V\n"
                 "class point open 10%\n"
                 "class wire\n"
                 "kind lamp behaves normal, dead  when open dead 100%\n"
                 "area box access 5 min\n"
                 "point b in box\n"
                 "point a in box returns through b\n"
                 "load lamp1 kind lamp draws 1 A returns through a\n"
                 "inspection look of point shows whole, broken check 2 min\n"
                 "    when open broken 100%\n",
                 "lamp1 dead\n");
    assert_int_equal(rl_case_look_ahead(s.c, 0, &pair, &count), RL_OK);
    const rl_pair *p = pair_of(pair, count, "look a");
    near(p->follow[1].test->minutes, 2);
    near(p->minutes, 5 + 2 + 10.0 / 19 * 2);
    close_setting(&s);
}

/* Outcomes of every sort of test add up; what the first of a pair tells is what it tells alone. */
static void outcomes_add_up(void **state)
{
    (void)state;
    enum { FIRSTS = 200 };
    setting s;
    const rl_pair *pair;
    size_t count, sorts = 0;
    open_setting(&s, small_vehicle, "swing present\ntail_left dim\nothers of rear work\nlook rear corroded\n");
    assert_int_equal(rl_case_look_ahead(s.c, FIRSTS, &pair, &count), RL_OK);
    assert_true(count >= 20);
    for (size_t i = 0; i < count; i++) {
        double sum = 0, after = 0;
        for (size_t k = 0; k < pair[i].follows; k++) {
            const rl_follow *f = &pair[i].follow[k];
            sum += f->p;
            after += f->test != NULL ? f->p * f->test->bits : 0;
            assert_true(f->outcome != NULL || f->low < f->high);
        }
        near(sum, 1);
        near(pair[i].bits, pair[i].first->bits + after);
        sorts |= 1u << pair[i].first->sort;
    }
    /* every sort but the seat's, of which one will do, and symptoms, of which none is left */
    for (int sort = RL_TEST_DROP; sort <= RL_TEST_JUMPER; sort++)
        assert_true(sorts & 1u << sort);
    assert_true(sorts & 1u << RL_TEST_BEHAVIOUR);
    assert_true(sorts & 1u << RL_TEST_INSPECTION);
    close_setting(&s);
}

/* The tree of outcomes is not the case: asking leaves it as it was. */
static void asking_changes_nothing(void **state)
{
    (void)state;
    setting s;
    const rl_answer *before, *after;
    const rl_outlook *o, *again;
    open_setting(&s, small_vehicle, small_lines);
    assert_int_equal(rl_case_answer(s.c, &before), RL_OK);
    double log_evidence = before->log_evidence;
    size_t lines = rl_case_lines(s.c);
    assert_int_equal(rl_case_outlook(s.c, 0, &o), RL_OK);
    assert_int_equal(rl_case_outlook(s.c, 0, &again), RL_OK);
    assert_int_equal(o->courses, again->courses);
    for (size_t i = 0; i < o->courses; i++)
        assert_memory_equal(&o->course[i].minutes, &again->course[i].minutes, sizeof(double));
    assert_int_equal(rl_case_answer(s.c, &after), RL_OK);
    assert_memory_equal(&after->log_evidence, &log_evidence, sizeof log_evidence);
    assert_int_equal(rl_case_lines(s.c), lines);
    close_setting(&s);
}

static void seat_tests_need_no_access(void **state)
{
    (void)state;
    setting s;
    const rl_test *list;
    size_t count, seats = 0;
    open_setting(&s, small_vehicle, "tail_left dim\n");
    assert_int_equal(rl_case_tests(s.c, &list, &count), RL_OK);
    for (size_t i = 0; i < count; i++) {
        if (!rl_test_from_seat(&list[i]))
            continue;
        seats++;
        assert_true(list[i].areas[0] < 0 && list[i].areas[1] < 0);
        near(list[i].minutes, list[i].check_minutes);
    }
    assert_true(seats > 0);
    assert_true(rl_test_from_seat(held_test(list, count, "stop")));
    assert_false(rl_test_from_seat(held_test(list, count, "look rear")));
    close_setting(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(probability_over_cost),
        cmocka_unit_test(areas_are_opened_once),
        cmocka_unit_test(rounding_orders_nothing),
        cmocka_unit_test(each_job_says_its_minutes),
        cmocka_unit_test(minutes_by_hand),
        cmocka_unit_test(a_dear_test_is_not_worth_it),
        cmocka_unit_test(minutes_that_are_not_said_are_customary),
        cmocka_unit_test(what_was_repaired_is_not_repaired_again),
        cmocka_unit_test(nothing_seen_is_nothing_to_mend),
        cmocka_unit_test(a_contradiction_has_no_outlook),
        cmocka_unit_test(a_bounded_answer_advises_no_stop),
        cmocka_unit_test(a_pair_by_hand),
        cmocka_unit_test(an_area_counts_once),
        cmocka_unit_test(outcomes_add_up),
        cmocka_unit_test(asking_changes_nothing),
        cmocka_unit_test(seat_tests_need_no_access),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) > 0;
}

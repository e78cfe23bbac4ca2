/* test_answer.c: what the library promises of a case's answers, through ringlug.h.
 *
 * Invariant: expected values are arithmetic on the numbers of the rules, done
 * here by hand, or the same question asked in another way.
 */
#include "held/setting.h"
#include "held/small.h"

#include <math.h>
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { THREADS = 2, ROUNDS = 5, MANY = 500, LINE = 128 };

static void near(double got, double want, double allowed)
{
    if (!(fabs(got - want) <= allowed))
        fail_msg("got %.17g, expected %.17g", got, want);
}

static const rl_answer *answer_of(rl_case *c)
{
    const rl_answer *answer;
    assert_int_equal(rl_case_answer(c, &answer), RL_OK);
    return answer;
}

static void same_answer(const rl_model *model, const rl_answer *a, const rl_answer *b, double allowed)
{
    near(a->log_evidence, b->log_evidence, allowed * fmax(1, fabs(b->log_evidence)));
    for (size_t e = 0; e < rl_model_vehicle(model)->elements; e++)
        for (int s = 0; s < RL_STATES; s++)
            near(a->belief[e].p[s], b->belief[e].p[s], allowed);
}

/* ---- few faults at once ---- */

/* Under a bound that its tables do not fit in, the answer says so, and it is off by no more than it says. */
static void bounded_within_its_bound(void **state)
{
    (void)state;
    static const struct { const char *text; size_t bytes; } cases[] = {
        {"occasion a\ntail_left dim\nswing present\noccasion b\ntail_left dim\nlook rear corroded\n", 3000},
        {"occasion a\ntail_left dim\nswing present\noccasion b\ntail_left dim\ntail_right flickers\nothers work\n"
         "look rear corroded\ndrop tail_left from rear 0.31 V\n", 10000}};
    setting s;
    open_setting(&s, small_vehicle, "");
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        held shelf = {0};
        rl_context *narrow = held_context(&shelf, cases[i].bytes);
        rl_case *exact = held_case(s.context, s.model, cases[i].text), *few = held_case(narrow, s.model, cases[i].text);
        const rl_answer *whole = answer_of(exact), *part = answer_of(few);
        assert_false(whole->bounded);
        assert_true(part->bounded && part->faults > 0 && part->neglected < 0.01);
        for (size_t e = 0; e < rl_model_vehicle(s.model)->elements; e++)
            for (int x = 0; x < RL_STATES; x++)
                near(part->belief[e].p[x], whole->belief[e].p[x], part->neglected + 1e-9);
        rl_case_free(exact);
        rl_case_free(few);
        rl_context_free(narrow);
        assert_int_equal(shelf.out, 0);
    }
    close_setting(&s);
}

/* ---- lines that come and go ---- */

/* Every finding is taken out and put back at the end; what is left is asked of a fresh case too. */
static void coming_and_going(void **state)
{
    (void)state;
    static const char *const line[] = {"tail_left dim", "stop dim or flickers sure 90%", "swing present",
                                       "look rear corroded", "drop tail_left from rear 0.31 V",
                                       "continuity tail_left to rear beeps", "others work"};
    enum { LINES = sizeof line / sizeof *line };
    setting s;
    open_setting(&s, small_vehicle, "");
    for (size_t i = 0; i < LINES; i++)
        held_say(s.c, line[i]);
    for (size_t out = 0; out < LINES; out++) {
        char text[LINES * LINE] = "";
        for (size_t i = 1; i < LINES; i++)
            strcat(strcat(text, line[(out + i) % LINES]), "\n");
        assert_int_equal(rl_case_withdraw(s.c, 0), RL_OK);
        rl_case *fresh = held_case(s.context, s.model, text);
        same_answer(s.model, answer_of(s.c), answer_of(fresh), 1e-12);
        rl_case_free(fresh);
        held_say(s.c, line[out]);
        (void)answer_of(s.c);
    }
    assert_int_equal(rl_case_lines(s.c), LINES);
    close_setting(&s);
}

static void withdrawn_to_nothing(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, small_vehicle, small_lines);
    (void)answer_of(s.c);
    while (rl_case_lines(s.c) > 0)
        assert_int_equal(rl_case_withdraw(s.c, rl_case_lines(s.c) - 1), RL_OK);
    const rl_answer *answer = answer_of(s.c);
    near(answer->log_evidence, 0, 1e-15);
    for (size_t e = 0; e < rl_model_vehicle(s.model)->elements; e++)
        for (int i = 0; i < RL_STATES; i++)
            near(answer->belief[e].p[i], rl_model_element(s.model, e)->prior[i], 1e-15);
    assert_int_equal(rl_case_withdraw(s.c, 0), RL_USAGE);
    close_setting(&s);
}

static void occasion_in_use_stays(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, small_vehicle, "occasion one\ntail_left dim\n");
    assert_int_equal(rl_case_withdraw(s.c, 0), RL_USAGE);
    assert_int_equal(rl_case_lines(s.c), 2);
    assert_int_equal(rl_case_withdraw(s.c, 1), RL_OK);
    assert_int_equal(rl_case_withdraw(s.c, 0), RL_OK);
    close_setting(&s);
}

/* The later line of the same observation counts; without it the earlier one counts again. */
static void replaced_line_returns(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, small_vehicle, "tail_left dim\n");
    double before = held_fault(answer_of(s.c), held_element(s.model, "rear"));
    held_say(s.c, "tail_left normal");
    assert_true(rl_case_line(s.c, 0)->replaced);
    assert_true(held_fault(answer_of(s.c), held_element(s.model, "rear")) < before);
    assert_int_equal(rl_case_withdraw(s.c, 1), RL_OK);
    assert_false(rl_case_line(s.c, 0)->replaced);
    near(held_fault(answer_of(s.c), held_element(s.model, "rear")), before, 1e-12);
    close_setting(&s);
}

/* ---- hundreds of findings ---- */

static char *many_loads(void)
{
    char *text = malloc((MANY + 10) * LINE);
    assert_non_null(text);
    int at = sprintf(text, "vehicle v supply 12 V\nclass point corroded 2%%\nclass wire open 1%%\nkind k behaves normal, dead failed 1%%\n"
                           "    when corroded dead 50%%\n    when open dead 100%%\n    when failed dead 100%%\n    otherwise dead 0.1%%\npoint p\n");
    for (int i = 0; i < MANY; i++)
        at += sprintf(text + at, "load l%d kind k returns through p\n", i);
    return text;
}

/* Each load is dead: ln P(findings) is the sum of two products, written out here. */
static void hundreds_do_not_underflow(void **state)
{
    (void)state;
    char *rules = many_loads();
    setting s;
    open_setting(&s, rules, "");
    for (int i = 0; i < MANY; i++) {
        char line[LINE];
        snprintf(line, sizeof line, "l%d dead", i);
        held_say(s.c, line);
    }
    double whole = 0.99 * 0.99 * 0.999;            /* wire, load, background all well */
    double with_sound = log(1 - whole), with_corroded = log(1 - (0.99 * 0.5) * 0.99 * 0.999);
    double sound = log(0.98) + MANY * with_sound, corroded = log(0.02) + MANY * with_corroded;
    double want = fmax(sound, corroded) + log1p(exp(-fabs(sound - corroded)));
    const rl_answer *answer = answer_of(s.c);
    near(answer->log_evidence, want, 1e-9 * fabs(want));
    near(answer->belief[held_element(s.model, "p")].p[RL_SOUND], exp(sound - want), 1e-12);
    assert_true(sound < -700);                     /* as a plain product it would be 0 */
    close_setting(&s);
    free(rules);
}

/* A meter that never misreads shows what lies 37.7 sigmas off, a likelihood that 1 cannot be divided
 * by.  An open feed reads 0, so that N(v; 0, b) says it alone; of all others only the `zero` share does. */
static void all_but_impossible(void **state)
{
    (void)state;
    static const char rules[] =
        "vehicle v supply 12 V\nclass point open 1%\nclass wire open 1%\nclass feed open 3%\n"
        "kind k behaves normal, dead failed 2% draws 3 A\n    when open dead 100%\n"
        "joint sound 1 mohm\njoint corroded 0.5 ohm spread 3\n"
        "meter volts reads 0.5% plus 2 mV misread 0% zero 2%\n"
        "point p\nfeed f\nload a kind k returns through p fed by f\n";
    setting s;
    open_setting(&s, rules, "occasion o battery 12.3 V\nsupply a 0.0755 V\n");
    const rl_answer *answer = answer_of(s.c);
    const double *p = answer->belief[held_element(s.model, "f")].p;
    double open = 0.03 / (0.03 + 0.97 * 0.02);
    double normal = -0.5 * 37.75 * 37.75 - log(0.002 * sqrt(2 * acos(-1)));
    near(p[RL_OPEN], open, 1e-9);
    near(p[RL_SOUND], 1 - open, 1e-9);
    near(answer->log_evidence, log(0.03 + 0.97 * 0.02) + normal, 1e-9);
    close_setting(&s);
}

/* ---- contradictions ---- */

/* Loads fail for certain reasons only, so that what contradicts what can be seen by hand:
 * a and b hang on p, and c on q; wires never fail. */
static const char certain[] =
    "vehicle v supply 12 V\nclass point open 10%\nclass wire open 0%\n"
    "kind k behaves normal, dead failed 10%\n    when open dead 100%\n    when failed dead 100%\n"
    "kind tough behaves normal, dead failed 0%\n    when open dead 100%\n"
    "swap check 1 min\nbypass check 1 min\n"
    "point p\npoint q\n"
    "load a kind k returns through p\nload b kind tough returns through p\nload c kind tough returns through q\n";

static void smallest_set(const char *lines, size_t count, const size_t *want)
{
    setting s;
    open_setting(&s, certain, lines);
    const rl_answer *answer;
    const size_t *got;
    size_t found;
    assert_int_equal(rl_case_answer(s.c, &answer), RL_CONTRADICTION);
    assert_int_equal(rl_case_contradiction(s.c, &got, &found), RL_OK);
    assert_int_equal(found, count);
    for (size_t i = 0; i < count; i++)
        assert_int_equal(got[i], want[i]);
    /* Without one line of the set the case goes on. */
    assert_int_equal(rl_case_withdraw(s.c, want[count - 1]), RL_OK);
    assert_int_equal(rl_case_answer(s.c, &answer), RL_OK);
    assert_true(isfinite(answer->log_evidence));
    close_setting(&s);
}

static void contradictions(void **state)
{
    (void)state;
    /* one: nothing is left that could make it dead */
    smallest_set("c normal\na dead with swap and bypass\n", 1, (size_t[]){1});
    /* two: p has to be open and may not be */
    smallest_set("c dead\nb normal\na dead with swap\n", 2, (size_t[]){1, 2});
    /* three: a is dead by p (b shows p good) or by itself (a is dead with a known good load in its place only by p);
     * `a normal with bypass` shows the load good, `b normal` shows p good, so `a dead` has no cause left */
    smallest_set("c dead\na dead\nb normal\na normal with bypass\n", 3, (size_t[]){1, 2, 3});
}

/* Two sets of different size: the smaller one is told. */
static void smaller_of_two(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, certain, "a dead\na normal with bypass\nb normal\na dead with swap\n");
    const rl_answer *answer;
    const size_t *got;
    size_t found;
    assert_int_equal(rl_case_answer(s.c, &answer), RL_CONTRADICTION);
    assert_int_equal(rl_case_contradiction(s.c, &got, &found), RL_OK);
    assert_int_equal(found, 2);
    assert_int_equal(got[0], 2);
    assert_int_equal(got[1], 3);
    close_setting(&s);
}

/* ---- sharing ---- */

typedef struct job {
    const setting *setting;
    const char *lines;
    double log_evidence[ROUNDS];
    double fault[ROUNDS];
} job;

static void *work(void *argument)
{
    job *j = argument;
    held shelf = {0};                     /* a context of its own: the model is all that is shared */
    rl_context *context = held_context(&shelf, 0);
    for (int i = 0; i < ROUNDS; i++) {
        rl_case *c = held_case(context, j->setting->model, j->lines);
        const rl_answer *answer;
        const rl_test *tests;
        size_t count;
        if (rl_case_answer(c, &answer) != RL_OK)
            return "no answer";
        j->log_evidence[i] = answer->log_evidence;
        j->fault[i] = held_fault(answer, held_element(j->setting->model, "rear"));
        if (rl_case_tests(c, &tests, &count) != RL_OK || count == 0)
            return "no tests";
        rl_case_free(c);
    }
    rl_context_free(context);
    return shelf.out == 0 ? NULL : "pieces left";
}

static void two_threads(void **state)
{
    (void)state;
    setting s;
    static const char *const lines[THREADS] = {"tail_left dim\nstop dim\nothers work\n", "tail_left flickers\nswing present\n"};
    open_setting(&s, small_vehicle, "");
    static job jobs[THREADS];
    pthread_t thread[THREADS];
    for (int t = 0; t < THREADS; t++) {
        jobs[t] = (job){.setting = &s, .lines = lines[t]};
        assert_int_equal(pthread_create(&thread[t], NULL, work, &jobs[t]), 0);
    }
    for (int t = 0; t < THREADS; t++) {
        void *fault;
        assert_int_equal(pthread_join(thread[t], &fault), 0);
        assert_null(fault);
    }
    for (int t = 0; t < THREADS; t++) {
        rl_case *alone = held_case(s.context, s.model, lines[t]);
        const rl_answer *answer = answer_of(alone);
        for (int i = 0; i < ROUNDS; i++) {
            assert_true(jobs[t].log_evidence[i] == answer->log_evidence);
            assert_true(jobs[t].fault[i] == held_fault(answer, held_element(s.model, "rear")));
        }
        rl_case_free(alone);
    }
    close_setting(&s);
}

/* ---- others, occasions, and next to nothing ---- */

/* `others of rear work` and `others work` of two occasions reach a load once each:
 * the same as writing the loads' own lines. */
static void two_others_lines(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, small_vehicle, "tail_left dim\nothers of rear work\nothers work\n");
    rl_case *spelled = held_case(s.context, s.model,
                                 "tail_left dim\nrelay_coil normal\ntail_right normal\nstop normal\nfuel normal\npump normal\n");
    same_answer(s.model, answer_of(s.c), answer_of(spelled), 1e-12);
    rl_case_free(spelled);
    close_setting(&s);
}

/* p is loose 20 %, quiet half of the time, and shows itself for certain when active:
 * eight calm occasions leave 0.2 x 0.5^8. */
static void eight_occasions(void **state)
{
    (void)state;
    setting s;
    open_setting(&s,
                 "vehicle v supply 12 V\nclass point loose 20% quiet 50%\nclass wire open 0%\n"
                 "kind k behaves normal, flickers failed 0%\n    when loose flickers 100%\n"
                 "point p\nload a kind k returns through p\n",
                 "");
    for (int i = 0; i < 8; i++) {
        char line[LINE];
        snprintf(line, sizeof line, "occasion o%d\na normal\n", i);
        held_say(s.c, line);
    }
    double calm = 0.2 * pow(0.5, 8);
    const rl_answer *answer = answer_of(s.c);
    near(exp(answer->log_evidence), 0.8 + calm, 1e-14);
    near(answer->belief[held_element(s.model, "p")].p[RL_LOOSE], calm / (0.8 + calm), 1e-14);
    assert_int_equal(rl_case_add(s.c, "occasion ninth", strlen("occasion ninth"), "said", 1), RL_INPUT);
    held_say(s.c, "a flickers");           /* the eighth, said again */
    calm = 0.2 * pow(0.5, 8);
    near(answer_of(s.c)->belief[held_element(s.model, "p")].p[RL_LOOSE], 1, 1e-14);
    close_setting(&s);
}

static void empty_case(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, small_vehicle, "");
    near(answer_of(s.c)->log_evidence, 0, 1e-15);
    double none = 1;
    for (size_t e = 0; e < rl_model_vehicle(s.model)->elements; e++) {
        none *= rl_model_element(s.model, e)->prior[RL_SOUND];
        assert_false(answer_of(s.c)->belief[e].touched);
    }
    const rl_shares *shares;
    assert_int_equal(rl_case_shares(s.c, &shares), RL_OK);
    near(shares->none, none, 1e-14);
    const size_t *suspects;
    size_t count;
    assert_int_equal(rl_case_suspects(s.c, &suspects, &count), RL_OK);
    assert_int_equal(count, 0);
    const rl_explanation *list;
    assert_int_equal(rl_case_explain(s.c, 5, &list, &count), RL_OK);
    assert_int_equal(count, 1);
    assert_int_equal(list[0].count, 0);
    near(list[0].p, 1, 0);
    close_setting(&s);
}

static void vehicle_without_loads(void **state)
{
    (void)state;
    setting s;
    open_setting(&s,
                 "vehicle v supply 12 V\nclass point corroded 10%\npoint p\npoint q returns through p\n"
                 "inspection look of point shows clean, green\n    when sound green 20%\n    when corroded green 90%\n",
                 "others work\nlook q green\n");
    near(exp(answer_of(s.c)->log_evidence), 0.9 * 0.2 + 0.1 * 0.9, 1e-15);
    near(held_fault(answer_of(s.c), held_element(s.model, "q")), 0.09 / 0.27, 1e-14);
    near(held_fault(answer_of(s.c), held_element(s.model, "p")), 0.1, 1e-15);
    const rl_test *tests;
    size_t count;
    assert_int_equal(rl_case_tests(s.c, &tests, &count), RL_OK);
    assert_int_equal(count, 1);            /* q was looked at */
    assert_string_equal(tests[0].text, "look p");
    close_setting(&s);
}

/* A kind without `failed` and `otherwise`: only the paths can make its loads misbehave. */
static void kind_that_never_fails(void **state)
{
    (void)state;
    setting s;
    open_setting(&s,
                 "vehicle v supply 12 V\nclass point open 10%\nclass wire open 5%\nclass feed open 20%\n"
                 "kind k behaves normal, dead\n    when return open dead 100%\n    when feed open dead 50%\n"
                 "point p\nfeed f\nload a kind k returns through p fed by f\n",
                 "a dead\n");
    double feed = 0.2 * 0.5, back = 1 - 0.9 * 0.95, dead = 1 - (1 - feed) * (1 - back);
    const rl_answer *answer = answer_of(s.c);
    near(exp(answer->log_evidence), dead, 1e-15);
    near(held_fault(answer, held_element(s.model, "a")), 0, 0);
    near(held_fault(answer, held_element(s.model, "p")), 0.1 / dead, 1e-14);
    near(held_fault(answer, held_element(s.model, "f")), 0.2 * (0.5 + 0.5 * back) / dead, 1e-14);
    close_setting(&s);
}

/* ---- suspects, expectations, explanations, why ---- */

static void suspects_by_their_rule(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, small_vehicle, "tail_left dim\nstop dim\nothers work\n");
    const size_t *list;
    size_t count, found = 0;
    assert_int_equal(rl_case_suspects(s.c, &list, &count), RL_OK);
    const rl_answer *answer = answer_of(s.c);
    for (size_t e = 0; e < rl_model_vehicle(s.model)->elements; e++) {
        double p = held_fault(answer, e), prior = 1 - rl_model_element(s.model, e)->prior[RL_SOUND];
        found += p >= 0.01 && p >= 1.05 * prior;
    }
    assert_true(count > 1);
    assert_int_equal(count, found);
    for (size_t i = 1; i < count; i++)
        assert_true(held_fault(answer, list[i - 1]) >= held_fault(answer, list[i]));
    close_setting(&s);
}

static void expectations(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, small_vehicle,
                 "tail_left dim\nstop dim\nlook rear corroded\nothers work\nexpect rear leads\nexpect tail leads\n"
                 "expect rear above 1%\nexpect rear above 99.99999%\nexpect fuel below 50%\n");
    const rl_expectation *list;
    size_t count;
    assert_int_equal(rl_case_expectations(s.c, &list, &count), RL_OK);
    static const bool held_up[] = {true, false, true, false, true};
    assert_int_equal(count, sizeof held_up);
    for (size_t i = 0; i < count; i++) {
        assert_int_equal(list[i].line, 4 + i);
        assert_int_equal(list[i].held, held_up[i]);
        near(list[i].p, held_fault(answer_of(s.c), list[i].element), 1e-15);
    }
    close_setting(&s);
}

static void explanations(void **state)
{
    (void)state;
    setting s;
    open_setting(&s, small_vehicle, "tail_left dim\nstop dim\nothers work\n");
    const rl_explanation *list;
    size_t count, three;
    assert_int_equal(rl_case_explain(s.c, 50, &list, &count), RL_OK);
    assert_true(count > 3);
    double sum = 0, first = list[0].p;
    for (size_t i = 0; i < count; i++) {
        sum += list[i].p;
        /* Falling, but that what differs by rounding alone stands in the order of declaration. */
        assert_true(list[i].p > 0 && (i == 0 || list[i].p <= list[i - 1].p * (1 + 1e-11)));
    }
    assert_true(sum <= 1 + 1e-12);
    assert_int_equal(rl_case_explain(s.c, 3, &list, &three), RL_OK);
    assert_int_equal(three, 3);
    near(list[0].p, first, 1e-15);
    close_setting(&s);
}

/* 10 log10 of odds with all over odds without one; the prior is what remains without any. */
static void weights(void **state)
{
    (void)state;
    static const char lines[] = "tail_left dim\nstop dim\nlook rear corroded\n";
    setting s;
    open_setting(&s, small_vehicle, lines);
    size_t rear = held_element(s.model, "rear");
    double all = held_fault(answer_of(s.c), rear);
    const rl_why *why;
    assert_int_equal(rl_case_why(s.c, rear, &why), RL_OK);
    assert_int_equal(why->count, 3);
    double prior = 1 - rl_model_element(s.model, rear)->prior[RL_SOUND], db[3];
    near(why->prior, prior, 1e-15);
    near(why->prior_db, 10 * log10(prior / (1 - prior)), 1e-12);
    near(why->posterior, all, 1e-15);
    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(why->weight[i].line, i);
        db[i] = why->weight[i].db;
    }
    for (size_t i = 0; i < 3; i++) {
        rl_case *less = held_case(s.context, s.model, lines);
        assert_int_equal(rl_case_withdraw(less, i), RL_OK);
        double p = held_fault(answer_of(less), rear);
        near(db[i], 10 * log10(all / (1 - all) / (p / (1 - p))), 1e-9);
        rl_case_free(less);
    }
    for (size_t left = 3; left > 0; left--)
        assert_int_equal(rl_case_withdraw(s.c, left - 1), RL_OK);
    assert_int_equal(rl_case_why(s.c, rear, &why), RL_OK);
    assert_int_equal(why->count, 0);
    near(why->posterior, prior, 1e-15);
    close_setting(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bounded_within_its_bound), cmocka_unit_test(coming_and_going), cmocka_unit_test(withdrawn_to_nothing),
        cmocka_unit_test(occasion_in_use_stays), cmocka_unit_test(replaced_line_returns),
        cmocka_unit_test(hundreds_do_not_underflow), cmocka_unit_test(all_but_impossible), cmocka_unit_test(contradictions),
        cmocka_unit_test(smaller_of_two), cmocka_unit_test(two_threads), cmocka_unit_test(two_others_lines),
        cmocka_unit_test(eight_occasions), cmocka_unit_test(empty_case), cmocka_unit_test(vehicle_without_loads),
        cmocka_unit_test(kind_that_never_fails), cmocka_unit_test(suspects_by_their_rule),
        cmocka_unit_test(expectations), cmocka_unit_test(explanations), cmocka_unit_test(weights),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* test_crowd.c: `others work` says what a line for each of the others says.
 *
 * The loads of such a line are said all at once from what the model keeps; lines of
 * their own are said one by one, by other code.  tests/prop/test_random.c compares
 * with enumeration, but draws small vehicles, where little is left for the crowd.
 */
#include "held/disk.h"
#include "held/held.h"
#include "work.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { MOST_TEXT = 256, MOST_LINES = 12 };

static void say(rl_case *c, const char *line)
{
    disk_must(rl_case_add(c, line, strlen(line), "test", 1), line);
}

static bool says_of_itself(rl_case *c, int occasion, int load)
{
    for (int i = 0; i < c->findings; i++) {
        const rl_finding *f = c->finding[i];
        if (f->sort == RL_E_BEHAVIOUR && f->occasion == occasion && f->subject == load)
            return true;
    }
    return false;
}

/* The lines, `others work` written out: a line for each load that has none in the occasion. */
static void say_each(rl_case *c, const rl_model *model, const char *const *line)
{
    char text[MOST_TEXT];
    rl_case *whole;
    disk_must(rl_case_new(c->context, model, "whole", &whole), "case");
    for (int i = 0; line[i]; i++)
        say(whole, line[i]);
    for (int i = 0; line[i]; i++) {
        if (strcmp(line[i], "others work") != 0) {
            say(c, line[i]);
            continue;
        }
        for (int e = 0; e < model->nodes; e++) {
            const rl_element *info = &model->node[e].info;
            if (info->sort != RL_LOAD || says_of_itself(whole, whole->finding[i]->occasion, e))
                continue;
            snprintf(text, sizeof text, "%s %s", info->id, model->kind[info->kind].info.level[0]);
            say(c, text);
        }
    }
    rl_case_free(whole);
}

static void compare(const rl_model *model, rl_case *all, rl_case *each)
{
    const rl_answer *a, *b;
    const rl_shares *s, *t;
    disk_must(rl_case_answer(all, &a), "answer");
    disk_must(rl_case_answer(each, &b), "answer");
    assert_true(fabs(a->log_evidence - b->log_evidence) <= 1e-11 * fabs(b->log_evidence));
    for (int e = 0; e < model->nodes; e++) {
        assert_int_equal(a->belief[e].touched, b->belief[e].touched);
        for (int s_ = 0; s_ < RL_STATES; s_++)
            if (!(fabs(a->belief[e].p[s_] - b->belief[e].p[s_]) <= 1e-12))
                fail_msg("%s, state %d: %.17g at once, %.17g one by one", model->node[e].info.id, s_, a->belief[e].p[s_],
                         b->belief[e].p[s_]);
    }
    disk_must(rl_case_shares(all, &s), "shares");
    disk_must(rl_case_shares(each, &t), "shares");
    assert_true(fabs(s->none - t->none) <= 1e-12 && fabs(s->of_return - t->of_return) <= 1e-12);
}

/* Stops of the vehicle that the lines leave to the crowd; -1: there is none. */
static int stops_left(const rl_case *c)
{
    const rl_crowd *crowd = c->work->bench.draft.crowd;
    int left = crowd ? 0 : -1;
    for (int s = 0; crowd && s < crowd->book->stops; s++)
        left += !crowd->busy[s];
    return left;
}

static int check_lines(rl_context *context, const rl_model *model, const char *const *line)
{
    rl_case *all, *each;
    disk_must(rl_case_new(context, model, "all", &all), "case");
    disk_must(rl_case_new(context, model, "each", &each), "case");
    for (int i = 0; line[i]; i++)
        say(all, line[i]);
    say_each(each, model, line);
    compare(model, all, each);
    assert_null(each->work->bench.draft.crowd);
    int left = stops_left(all);
    rl_case_free(all);
    rl_case_free(each);
    return left;
}

/* ---- a vehicle that has one of everything ---- */

static const char vehicle[] =
    "language 1\n"
    "vehicle cart supply 12 V spread 2%\n"
    "class post corroded 1%\n"
    "class wire loose 0.5% corroded 1% open 0.5% quiet 30%\n"
    "class feed loose 1% corroded 0.5% open 1%\n"
    "class point loose 2% corroded 4% open 1% quiet 40%\n"
    "class splice corroded 2% open 1%\n"
    "class connector loose 2% corroded 1% quiet 20%\n"
    "grades 0.2 ohm, 2 ohm\n"
    "kind lamp behaves normal, dim, dead  failed 2%  draws 12 W\n"
    "    when loose dim 50%\n    short of 1 V dim 70% dead 5%\n    when open dead 95%\n"
    "    when failed dead 90%\n    otherwise dim 1%\n"
    "kind coil behaves normal, dead  failed 1%  draws 2 W\n"
    "    when open dead 100%\n    when failed dead 100%\n"
    "point post class post\n"
    "point floor returns through post by 4 mm2 2 m\n"
    "point roof returns through floor by 4 mm2 2 m\n"
    "point bare returns through floor\n"
    "point nose returns through post\n"
    "splice top returns through roof\n"
    "splice low returns through nose\n"
    "connector plug\n"
    "feed main\n"
    "feed rear fed by main\n"
    "feed fan fed by main operated by relay\n"
    "load relay kind coil returns through nose fed by rear\n"
    "load one kind lamp returns through top fed by rear\n"
    "load two kind lamp returns through top fed by main\n"
    "load three kind lamp draws 24 W returns through roof fed by rear\n"
    "load four kind lamp returns through low fed by fan\n"
    "load five kind lamp returns through nose or floor via plug fed by fan\n"
    "load six kind lamp returns through post\n"
    "load seven kind lamp returns through floor fed by main via plug\n"
    "symptom hum from six.wire loose 40% from bare corroded 30% otherwise 2%\n"
    "symptom smell from roof corroded 50% from return of two open 20% otherwise 2%\n"
    "symptom flash from feed of four loose 50% from three failed 30% otherwise 1%\n"
    "inspection look of point, splice, wire, feed shows clean, bad\n"
    "    when loose bad 40%\n    when corroded bad 80%\n    when open bad 70%\n    when sound bad 5%\n"
    "joint sound 2 mohm spread 2\njoint corroded 1 ohm spread 4\n"
    "backfeed corroded 10% open 40% otherwise 1%\npull loose 20% corroded 80% otherwise 1%\n"
    "meter volts reads 1% plus 2 mV misread 2% bands 0.1 V, 1 V\n";

static const char *const lines[][MOST_LINES] = {
    {"others work"},
    {"four dim", "others work"},
    {"others work", "one dim", "smell present"},
    {"others work", "look top bad"},
    {"others work", "look two.wire bad", "look bare bad"},
    {"others work", "look rear bad", "hum present"},
    {"others work", "flash absent", "seven dim"},
    {"others work", "drop two 0.4 V", "five not normal"},
    {"others work", "pull one to two present", "backfeed three to one absent"},
    {"relay dead", "others work"},
    {"occasion road", "one dim", "four normal", "occasion bay", "others work", "three dim"},
    {"occasion road", "others work", "occasion bay", "one dim", "drop one from roof 0.2 V"},
    {"one dim", "occasion proof with repaired top and repaired main", "others work", "one normal"},
    {"one dim", "occasion proof with repaired one.wire", "others work", "one normal with swap"},
    {"occasion a", "others work", "occasion b", "one dim", "others work"},
};

static void lines_of_all_sorts(void **state)
{
    (void)state;
    held shelf = {.files = 0};
    held_put_text(&shelf, "v.gnd", vehicle);
    rl_context *context = held_context(&shelf, 0);
    rl_model *model = held_model(&shelf, context);
    int most = 0, none = 0;
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        int left = check_lines(context, model, lines[i]);
        most = left > most ? left : most;
        none += left < 0;
    }
    assert_int_equal(most, 3);   /* top, roof and low: to all others lead a coil, two ways or a connector too */
    assert_int_equal(none, 1);   /* two `others` lines: each load says by itself what it is in both */
    rl_model_free(model);
    rl_context_free(context);
    assert_int_equal(shelf.out, 0);
}

/* ---- shipped vehicles ---- */

static void shipped(const char *rules, int least)
{
    static const char *const found[][MOST_LINES] = {
        {"look rear_left corroded", "stop_left dim", "plate_lamp dim", "pull ind_rear_left to plate_lamp present",
         "others work", "drop stop_left from rear_left 2.9 V"},
        {"occasion road", "stop_left dim", "occasion bay battery 12.4 V", "others work", "tail_left flickers"},
    };
    rl_context *context = disk_context(TEST_ROOT "/rules");
    rl_model *model = disk_model(context, rules);
    for (size_t i = 0; i < sizeof found / sizeof *found; i++)
        assert_true(check_lines(context, model, found[i]) >= least);
    rl_model_free(model);
    rl_context_free(context);
}

static void shipped_vehicles(void **state)
{
    (void)state;
    shipped(TEST_ROOT "/rules/demo-moraine.gnd", 10);
    shipped(TEST_ROOT "/rules/large-nunatak.gnd", 30);
}

/* ---- many loads ---- */

/* Products of hundreds of small numbers neither vanish nor come out as impossible. */
static void many_that_hardly_work(void **state)
{
    (void)state;
    static char text[64000];
    size_t at = (size_t)snprintf(text, sizeof text,
        "language 1\nvehicle cart supply 12 V\nclass point open 1%%\nclass wire open 1%%\nclass feed open 1%%\n"
        "kind lamp behaves normal, dead failed 1%%\n    when open dead 100%%\n    otherwise dead 99%%\n"
        "point post\npoint p returns through post\nfeed f\n");
    for (int i = 0; i < 400; i++)
        at += (size_t)snprintf(text + at, sizeof text - at, "load l%d kind lamp returns through p fed by f\n", i);
    held shelf = {.files = 0};
    held_put(&shelf, "v.gnd", text, at);
    rl_context *context = held_context(&shelf, 0);
    rl_model *model = held_model(&shelf, context);
    rl_case *c = held_case(context, model, "others work\n");
    const rl_answer *answer;
    disk_must(rl_case_answer(c, &answer), "answer");
    /* each: background 1 %, wire sound 99 %, itself sound or failed as before; both points and the feed sound */
    double want = 400 * (log(0.01) + log(0.99)) + 3 * log(0.99);
    assert_true(fabs(answer->log_evidence - want) <= 1e-12 * fabs(want));
    assert_true(answer->belief[held_element(model, "p")].p[RL_SOUND] == 1);
    rl_case_free(c);
    rl_model_free(model);
    rl_context_free(context);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines_of_all_sorts),
        cmocka_unit_test(shipped_vehicles),
        cmocka_unit_test(many_that_hardly_work),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

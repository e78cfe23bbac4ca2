/* test_tie.c: what findings have to do with a suspect, and what has not been looked at.
 *
 * The shape of the vehicle, from which every expected link follows:
 *   one, two   return through s, s through r, r through f, f through the post
 *   three      returns through r or, via plug, through f
 *   four       returns through f, fed through plug by g
 *   coil       returns through r; operates feed g, which f1 feeds
 */
#include "held/held.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static const char vehicle[] =
    "language 1\n"
    "vehicle cart supply 12 V spread 4%\n"
    "class point loose 1% corroded 3%\nclass splice loose 1%\nclass wire open 1%\nclass feed open 1%\nclass connector loose 1%\n"
    "kind lamp behaves normal, dim failed 1% draws 21 W\n when corroded dim 80%\n otherwise dim 1%\n"
    "point post\npoint f returns through post\npoint r returns through f\nsplice s returns through r\nconnector plug\n"
    "feed f1\nfeed g fed by f1 operated by coil\n"
    "load coil kind lamp returns through r fed by f1\n"
    "load one kind lamp returns through s fed by f1\nload two kind lamp returns through s fed by f1\n"
    "load three kind lamp returns through r or f via plug fed by f1\n"
    "load four kind lamp returns through f fed by g via plug\n"
    "symptom odd\n from return of two open 20%\n otherwise 1%\n"
    "inspection look of point, splice shows clean, rust\n when corroded rust 80%\n when sound rust 5%\n"
    "joint sound 2 mohm spread 3\njoint corroded 0.8 ohm spread 5\n"
    "backfeed open 50% otherwise 1%\npull open 50% otherwise 1%\n"
    "meter volts reads 1% plus 2 mV bands 1 V\n";

typedef struct fixture {
    held shelf;
    rl_context *context;
    rl_model *model;
    rl_case *c;
    const rl_ties *ties;
} fixture;

/* Ties of the lines to the suspect; the case stays until drop(). */
static void ask(fixture *x, const char *lines, const char *suspect)
{
    *x = (fixture){0};
    held_put_text(&x->shelf, "v.gnd", vehicle);
    x->context = held_context(&x->shelf, 0);
    x->model = held_model(&x->shelf, x->context);
    x->c = held_case(x->context, x->model, lines);
    assert_int_equal(rl_case_ties(x->c, held_element(x->model, suspect), &x->ties), RL_OK);
}

static void drop(fixture *x)
{
    rl_case_free(x->c);
    rl_model_free(x->model);
    rl_context_free(x->context);
    assert_int_equal(x->shelf.out, 0);
}

static const char *names(const fixture *x, const int *element, size_t count)
{
    static char all[200];
    all[0] = '\0';
    for (size_t i = 0; i < count; i++)
        strcat(strcat(all, i > 0 ? " " : ""), rl_model_element(x->model, (size_t)element[i])->id);
    return all;
}

static void is_tied(const fixture *x, const char *line, const char *link, const char *shared)
{
    for (size_t i = 0; i < x->ties->count; i++) {
        const rl_tie *tie = &x->ties->tie[i];
        if (strcmp(rl_case_line(x->c, tie->line)->text, line) != 0)
            continue;
        assert_string_equal(rl_link_text(tie->link), link);
        assert_string_equal(names(x, tie->shared, tie->shared_count), shared);
        return;
    }
    fail_msg("no tie for %s", line);
}

static void unseen_are(const fixture *x, const char *ids)
{
    int load[16];
    assert_true(x->ties->unseen_count <= 16);
    for (size_t i = 0; i < x->ties->unseen_count; i++)
        load[i] = x->ties->unseen[i].load;
    assert_string_equal(names(x, load, x->ties->unseen_count), ids);
}

static void of_a_point(void **state)
{
    (void)state;
    fixture x;
    ask(&x, "one dim\ntwo normal with bypass\nthree dim\nfour normal\nodd present\nlook r rust\nlook f clean\n", "r");
    assert_int_equal(x.ties->count, 7);
    is_tied(&x, "one dim", "return", "r f post");
    is_tied(&x, "two normal with bypass", "mended", "r f post");
    is_tied(&x, "three dim", "may return", "r f post");
    is_tied(&x, "four normal", "coil", "r f post");
    is_tied(&x, "odd present", "within", "r f post");
    is_tied(&x, "look r rust", "itself", "r");
    is_tied(&x, "look f clean", "beside", "f");
    unseen_are(&x, "coil");
    drop(&x);
}

static void of_what_was_seen(void **state)
{
    (void)state;
    fixture x;
    ask(&x, "one dim\ntwo not dim\ndrop one from r 0.1 V\nothers work\n", "s");
    assert_int_equal(x.ties->tie[0].seen, RL_SEEN_AMISS);
    assert_int_equal(x.ties->tie[1].seen, RL_SEEN_RIGHT);
    assert_int_equal(x.ties->tie[2].seen, RL_SEEN_READ);
    assert_true(x.ties->tie[3].others && !x.ties->tie[0].others);
    assert_int_equal(x.ties->tie[3].loads, 0);   /* only one and two hang on s */
    is_tied(&x, "drop one from r 0.1 V", "outside", "r f post");
    is_tied(&x, "others work", "beside", "r f post");
    unseen_are(&x, "");
    drop(&x);
}

static void of_a_bypass_at(void **state)
{
    (void)state;
    fixture x;
    ask(&x, "one normal with bypass at r\n", "f");
    is_tied(&x, "one normal with bypass at r", "mended", "f post");
    drop(&x);
    ask(&x, "one normal with bypass at r\n", "s");
    is_tied(&x, "one normal with bypass at r", "return", "s r f post");
    unseen_are(&x, "two");
    drop(&x);
}

static void of_an_occasion(void **state)
{
    (void)state;
    fixture x;
    ask(&x, "occasion a\none dim\noccasion b with repaired s\none normal\nfour normal\n", "s");
    is_tied(&x, "one dim", "return", "s r f post");
    is_tied(&x, "one normal", "mended", "s r f post");
    is_tied(&x, "four normal", "beside", "r f post");   /* by way of the coil */
    drop(&x);
}

static void of_feeds_and_connectors(void **state)
{
    (void)state;
    fixture x;
    ask(&x, "four normal with jumper\none dim\nthree dim\n", "plug");
    is_tied(&x, "four normal with jumper", "mended", "plug f post g f1");
    is_tied(&x, "three dim", "may return", "plug f post f1");
    is_tied(&x, "one dim", "beside", "f post f1");
    drop(&x);
    ask(&x, "four dim\none dim\n", "f1");
    is_tied(&x, "four dim", "feed", "f1");
    is_tied(&x, "one dim", "feed", "f1");
    unseen_are(&x, "coil two three");
    drop(&x);
}

static void of_loads_and_wires(void **state)
{
    (void)state;
    fixture x;
    ask(&x, "one dim\none normal with swap\nfour dim\n", "one");
    is_tied(&x, "one dim", "itself", "one one.wire s r f post f1");
    is_tied(&x, "one normal with swap", "mended", "one one.wire s r f post f1");
    drop(&x);
    ask(&x, "one dim\none normal with swap\none normal with bypass\n", "one.wire");
    is_tied(&x, "one dim", "itself", "one.wire s r f post");
    is_tied(&x, "one normal with swap", "itself", "one.wire s r f post");
    is_tied(&x, "one normal with bypass", "mended", "one.wire s r f post");
    drop(&x);
    ask(&x, "four dim\n", "coil");
    is_tied(&x, "four dim", "coil", "coil coil.wire r f post f1");
    unseen_are(&x, "coil");
    drop(&x);
}

static void of_two_loads(void **state)
{
    (void)state;
    fixture x;
    ask(&x, "backfeed one to two present\npull two to one absent\nbackfeed four to coil absent\n", "f1");
    is_tied(&x, "backfeed one to two present", "none", "");
    is_tied(&x, "pull two to one absent", "feed", "f1");
    assert_int_equal(x.ties->tie[0].loads, 2);
    drop(&x);
    ask(&x, "pull two to one absent\n", "r");
    is_tied(&x, "pull two to one absent", "return", "r f post");
    drop(&x);
}

/* Nothing is asked of the numbers. */
static void of_a_contradiction(void **state)
{
    (void)state;
    fixture x;
    const rl_ties *none;
    const rl_answer *answer;
    ask(&x, "look f rust\nlook r clean\n", "f");
    assert_int_equal(rl_case_ties(x.c, rl_model_vehicle(x.model)->elements, &none), RL_USAGE);
    assert_null(none);
    held_say(x.c, "one normal with bypass at f and swap and jumper");
    assert_int_equal(rl_case_ties(x.c, held_element(x.model, "f"), &x.ties), RL_OK);
    assert_int_equal(x.ties->count, 3);
    (void)rl_case_answer(x.c, &answer);
    assert_int_equal(rl_case_ties(x.c, held_element(x.model, "f"), &x.ties), RL_OK);
    assert_int_equal(x.ties->count, 3);
    drop(&x);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(of_a_point), cmocka_unit_test(of_what_was_seen), cmocka_unit_test(of_a_bypass_at),
        cmocka_unit_test(of_an_occasion), cmocka_unit_test(of_feeds_and_connectors),
        cmocka_unit_test(of_loads_and_wires), cmocka_unit_test(of_two_loads), cmocka_unit_test(of_a_contradiction),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}

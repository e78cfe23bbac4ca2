/* test_unsaid.c: the odds without a line come from the one network of all lines, for every
 * sort of line but `others`, and are those of a case that never had it.
 *
 * tests/prop/test_why.c compares them on drawn vehicles, but would not see that
 * each line had a network made for it.
 */
#include "held/held.h"
#include "unsaid.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <string.h>

static const char vehicle[] =
    "language 1\n"
    "vehicle cart supply 12 V spread 2%\n"
    "class post corroded 1%\n"
    "class wire corroded 1% open 0.5%\n"
    "class feed loose 1% open 1%\n"
    "class point loose 2% corroded 4% open 1% quiet 40%\n"
    "kind lamp behaves normal, dim, dead  failed 2%  draws 12 W\n"
    "    when loose dim 50%\n"
    "    when corroded dim 70% dead 5%\n"
    "    when open dead 95%\n"
    "    when failed dead 90%\n"
    "    otherwise dim 1%\n"
    "point post class post\n"
    "point a returns through post by 4 mm2 2 m\n"
    "point b returns through post by 4 mm2 2 m\n"
    "feed f\n"
    "load one kind lamp returns through a fed by f\n"
    "load two kind lamp returns through a or b fed by f\n"
    "load three kind lamp returns through b\n"
    "load four kind lamp returns through b fed by f\n"
    "symptom smell from a corroded 50% from feed of one loose 20% otherwise 2%\n"
    "inspection look of point shows clean, bad\n"
    "    when loose bad 40%\n    when corroded bad 80%\n    when open bad 70%\n    when sound bad 5%\n"
    "inspection tug of point shows firm, slack\n    when loose slack 80%\n    when sound slack 1%\n"
    "joint sound 2 mohm spread 2\n"
    "joint corroded 1 ohm spread 4\n"
    "backfeed corroded 10% open 40% otherwise 1%\n"
    "pull loose 20% corroded 80% otherwise 1%\n"
    "meter volts reads 1% plus 2 mV misread 2% bands 0.1 V, 1 V\n"
    "meter ohms reads 1% plus 0.2 ohm misread 2% bands 1 ohm\n"
    "meter beeper beeps below 30 ohm misread 1%\n";

static const char *const line[] = {
    "one dim", "two normal", "smell present", "pull one to two present", "backfeed three to four absent",
    "look a bad", "tug a firm", "drop one 0.8 V", "resistance four to post 0.4 ohm", "continuity three to post beeps",
    "supply one 11.6 V", "one normal with bypass", "four dim or dead with swap", "others work",
    "occasion later battery 12.4 V with repaired b", "two dim", "smell absent", "drop one from a 0.7 V at 0.9 A",
};
enum { LINES = sizeof line / sizeof *line, MOST_TEXT = 1024 };

/* The lines but one (LINES: all of them). */
static void text_without(int left_out, char *text)
{
    text[0] = '\0';
    for (int i = 0; i < LINES; i++)
        if (i != left_out) {
            strcat(text, line[i]);
            strcat(text, "\n");
        }
}

static double odds(rl_case *c, int element)
{
    const rl_answer *answer;
    assert_int_equal(rl_case_answer(c, &answer), RL_OK);
    const double *p = answer->belief[element].p;
    return (p[RL_LOOSE] + p[RL_CORRODED] + p[RL_OPEN] + p[RL_FAILED]) / p[RL_SOUND];
}

static void check_line(rl_context *context, const rl_model *model, int element, int left_out, double got)
{
    char text[MOST_TEXT];
    bool finding = strncmp(line[left_out], "occasion", 8) != 0, others = strncmp(line[left_out], "others", 6) == 0;
    if (!finding || others) {
        assert_true(isnan(got));
        return;
    }
    text_without(left_out, text);
    rl_case *c = held_case(context, model, text);
    double want = odds(c, element);
    rl_case_free(c);
    if (!(fabs(got / want - 1) < 1e-9))
        fail_msg("%s without `%s`: odds of %.17g, expected %.17g", model->node[element].info.id, line[left_out], got, want);
}

static void every_sort_of_line(void **state)
{
    (void)state;
    held shelf = {.files = 0};
    char text[MOST_TEXT];
    double out[LINES + 1];
    held_put_text(&shelf, "v.gnd", vehicle);
    rl_context *context = held_context(&shelf, 0);
    rl_model *model = held_model(&shelf, context);
    text_without(LINES, text);
    rl_case *c = held_case(context, model, text);
    for (int element = 0; element < model->nodes; element++) {
        jmp_buf bail;
        (void)odds(c, element);
        if (setjmp(bail))
            fail_msg("no memory");
        c->work->arena.bail = &bail;
        rl_unsaid_odds(c->work, c, element, out);
        c->work->arena.bail = NULL;
        for (int i = 0; i < LINES; i++)
            check_line(context, model, element, i, out[i]);
    }
    rl_case_free(c);
    rl_model_free(model);
    rl_context_free(context);
    assert_int_equal(shelf.out, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(every_sort_of_line)};
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}

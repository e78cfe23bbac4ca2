/* test_memory.c: cases that would need far more memory than the tool may take.
 *
 * Seen in K occasions a path has 2^K values and some more, and a table of three
 * paths the third power of that: eight occasions over the whole vehicle would take tens of gigabytes.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "run.h"

#include <stdio.h>
#include <string.h>
#include <sys/resource.h>

enum { TEXT = 8192, MOST_KILOBYTES = 1500 * 1000 };

static const char rules[] = TEST_ROOT "/rules/demo-moraine.gnd";

/* Four loads, in so many occasions now so and now so. */
static void write_case(char *text, int occasions, bool others)
{
    static const char *const load[] = {"stop_left", "ind_rear_left", "reverse_left", "plate_lamp"};
    static const char *const level[] = {"dim", "flickers", "normal", "dim"};
    int at = snprintf(text, TEXT, "case \"long\" on moraine-5 \"seen again and again\"\n");
    for (int o = 0; o < occasions; o++) {
        at += snprintf(text + at, (size_t)(TEXT - at), "occasion o%d \"again\"\n", o);
        for (int i = 0; i < 4; i++)
            at += snprintf(text + at, (size_t)(TEXT - at), "%s %s\n", load[i], level[(o + i) % 4]);
        if (others)
            at += snprintf(text + at, (size_t)(TEXT - at), "others work\n");
    }
    assert_true(at < TEXT);
}

static long kilobytes_of_children(void)
{
    struct rusage usage;
    assert_int_equal(getrusage(RUSAGE_CHILDREN, &usage), 0);
    return usage.ru_maxrss;
}

static void rank_long(int occasions, bool others)
{
    char text[TEXT];
    write_case(text, occasions, others);
    run r = run_tool("", "rank", "--json", "--tests", "1", "--memory", "64", rules, run_file("long.case", text), NULL);
    assert_true(r.status == 0 || r.status == 3);
    if (r.status == 3)
        assert_non_null(strstr(r.err, "more memory than its bound allows"));
    else
        assert_non_null(strstr(r.out, "\"log_evidence\":-"));
    assert_true(kilobytes_of_children() < MOST_KILOBYTES);
    run_free(&r);
}

static void many_occasions(void **state)
{
    (void)state;
    for (int occasions = 4; occasions <= 8; occasions++) {
        rank_long(occasions, false);
        rank_long(occasions, true);
    }
}

static void in_order(const char *text, const char *first, const char *then)
{
    const char *at = strstr(text, first);
    if (at == NULL || strstr(at, then) == NULL)
        fail_msg("\"%s\" and behind it \"%s\" are not in: %s", first, then, text);
}

/* Where one part of the page would pass the bound the others are there, what is missing says
 * so, and the status is that of a machine that is too small. */
static void the_page_goes_on_without_a_part(void **state)
{
    (void)state;
    int parts = 0;
    for (int occasions = 4; occasions <= 6; occasions++) {
        char text[TEXT];
        write_case(text, occasions, false);
        run r = run_tool("", "rank", "--memory", "1", rules, run_file("part.case", text), NULL);
        if (strstr(r.out, "Not worked out: it would need more memory") != NULL) {
            parts++;
            assert_int_equal(r.status, 3);
            in_order(r.out, "Ground points\n", "What speaks for and against the leader\n  Not worked out: ");
            in_order(r.out, "  Not worked out: ", "All suspects together\n");
            in_order(r.out, "All suspects together\n", "Next tests, best first\n  none is worked out: ");
            in_order(r.out, "Next tests, best first\n", "In short: ");
            in_order(r.err, "case long needs more memory", "--memory");
        }
        run_free(&r);
    }
    assert_true(parts > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(many_occasions),
        cmocka_unit_test(the_page_goes_on_without_a_part),
    };
    return cmocka_run_group_tests_name("memory", tests, run_setup, run_teardown);
}

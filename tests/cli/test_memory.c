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

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(many_occasions),
    };
    return cmocka_run_group_tests_name("memory", tests, run_setup, run_teardown);
}

/* test_corpus.c: feeds every input that the fuzz targets saved, in the normal test run.
 *
 * Inputs lie in tests/fuzz/corpus/rules and tests/fuzz/corpus/case; one that once
 * broke something stays there for good.
 */
#include "held/feed.h"
#include "lang/show.h"

#include <dirent.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { PATH = 4096 };

typedef const char *feeder(const uint8_t *data, size_t size);

static void feed_file(const char *path, feeder *feed)
{
    size_t length;
    char *text = show_file(path, &length);
    assert_non_null(text);
    uint8_t *exact = malloc(length > 0 ? length : 1);   /* so that a sanitizer sees a read past the end */
    assert_non_null(exact);
    memcpy(exact, text, length);
    free(text);
    const char *fault = feed(exact, length);
    free(exact);
    if (fault != NULL)
        fail_msg("%s: %s", path, fault);
}

static void feed_folder(const char *name, feeder *feed)
{
    char folder[PATH], path[2 * PATH];
    snprintf(folder, sizeof folder, "%s/tests/fuzz/corpus/%s", TEST_ROOT, name);
    DIR *dir = opendir(folder);
    assert_non_null(dir);
    size_t count = 0;
    for (struct dirent *entry = readdir(dir); entry != NULL; entry = readdir(dir)) {
        if (entry->d_name[0] == '.')
            continue;
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        feed_file(path, feed);
        count++;
    }
    closedir(dir);
    assert_true(count > 20);
}

static void rules(void **state)
{
    (void)state;
    feed_folder("rules", feed_rules);
}

static void cases(void **state)
{
    (void)state;
    feed_folder("case", feed_case);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(rules), cmocka_unit_test(cases)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

/* published.c: see published.h. */
#include "published.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

json_t *published(const char *name)
{
    char path[512];
    json_error_t error;
    snprintf(path, sizeof path, "%s/tests/data/%s", TEST_ROOT, name);
    json_t *root = json_load_file(path, 0, &error);
    if (root == NULL)
        fail_msg("%s: %s", path, error.text);
    return root;
}

const json_t *published_list(const json_t *object, const char *name, size_t count)
{
    const json_t *list = json_object_get(object, name);
    assert_true(json_is_array(list));
    assert_int_equal(json_array_size(list), count);
    return list;
}

static double number(const json_t *value)
{
    assert_true(json_is_number(value));
    return json_number_value(value);
}

double published_number(const json_t *object, const char *name)
{
    return number(json_object_get(object, name));
}

double published_at(const json_t *list, size_t i)
{
    return number(json_array_get(list, i));
}

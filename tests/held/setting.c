/* setting.c: see setting.h. */
#include "setting.h"

#include "small.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

void open_setting_within(setting *s, const char *rules, const char *lines, size_t memory_bound)
{
    *s = (setting){.c = NULL};
    held_put_text(&s->shelf, "v.gnd", rules);
    held_put_text(&s->shelf, "base.gnd", small_base);
    s->context = held_context(&s->shelf, memory_bound);
    assert_non_null(s->context);
    s->model = held_model(&s->shelf, s->context);
    s->c = held_case(s->context, s->model, lines);
}

void open_setting(setting *s, const char *rules, const char *lines)
{
    open_setting_within(s, rules, lines, 0);
}

void close_setting(setting *s)
{
    rl_case_free(s->c);
    rl_model_free(s->model);
    rl_context_free(s->context);
    assert_int_equal(s->shelf.out, 0);
}

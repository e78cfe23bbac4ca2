/* test_evidence.c: lines of a case: what they weigh, when they are refused,
 * what replaces what, and that a failure leaves the case as it was.
 */
#include "../../engine/model.h"
#include "../../engine/names.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

/* ---- a context over files in memory, that counts and can refuse memory ---- */

typedef struct bench {
    rl_context *context;
    rl_model *model;
    rl_case *c;
    const char *book;          /* what reading "b.case" gives */
    long taken, fail_at;       /* the fail_at-th piece from now is refused; 0: none */
    long pieces;               /* out at the moment */
    int said, number;          /* messages so far, and the last one */
    rl_severity severity;
    size_t line, column, other_line;
    char text[400];
} bench;

static const char rules[] =
    "vehicle van  supply 12 V spread 4%\n"
    "joint sound 2 mohm spread 3\njoint corroded 0.8 ohm spread 5\njoint loose quiet 60%\n"
    "meter volts reads 0.5% plus 2 mV  bands 1 V\nmeter ohms reads 1% plus 0.2 ohm  bands 1 ohm\n"
    "meter beeper beeps below 30 ohm\n"
    "backfeed loose 10%\npull loose 20%\n"
    "class point corroded 2%\nclass splice corroded 1%\nclass wire open 1%\nclass feed open 1%\n"
    "kind lamp  behaves normal, flickers, dim, dead  failed 1%\n  when open dead 90%\n  when loose flickers 50%\n"
    "area box  access 3 min\n"
    "point post\npoint frame  in box  returns through post\npoint side  returns through post\n"
    "splice knot  returns through frame\n"
    "feed f1\n"
    "load left   kind lamp  draws 2 A  returns through knot  fed by f1\n"
    "load right  kind lamp  draws 1 A  returns through knot  fed by f1\n"
    "load top    kind lamp  returns through side\n"
    "symptom odd  from frame corroded 60%  otherwise 1%\n"
    "inspection look  of point  shows clean, rusty, broken\n  when corroded rusty 75%\n";

static rl_status read_file(void *user, const char *path, char **bytes, size_t *length)
{
    const bench *b = user;
    const char *text = strcmp(path, "v.gnd") == 0 ? rules : strcmp(path, "b.case") == 0 ? b->book : NULL;
    if (text == NULL)
        return RL_MISSING;
    *length = strlen(text);
    *bytes = malloc(*length + 1);
    if (*bytes == NULL)
        return RL_MEMORY;
    memcpy(*bytes, text, *length + 1);
    return RL_OK;
}

static void release_file(void *user, char *bytes)
{
    (void)user;
    free(bytes);
}

static void *take(void *user, size_t size)
{
    bench *b = user;
    if (b->fail_at > 0 && ++b->taken >= b->fail_at)
        return NULL;
    b->pieces++;
    return malloc(size);
}

static void give(void *user, void *piece)
{
    bench *b = user;
    b->pieces--;
    free(piece);
}

static void say(void *user, const rl_report *report)
{
    bench *b = user;
    b->said++;
    b->number = report->number;
    b->severity = report->severity;
    b->line = report->line;
    b->column = report->column;
    b->other_line = report->other_path ? report->other_line : 0;
    snprintf(b->text, sizeof b->text, "%s", report->text);
}

static int set_up(void **state)
{
    bench *b = calloc(1, sizeof *b);
    const rl_settings settings = { .take = take, .give = give, .memory_user = b, .sink = { say, b },
                                   .loader = { read_file, release_file, b } };
    *state = b;
    if (b == NULL || rl_context_new(&settings, &b->context) != RL_OK)
        return -1;
    if (rl_model_read(b->context, "v.gnd", &b->model) != RL_OK) {
        fprintf(stderr, "%zu:%zu: %s\n", b->line, b->column, b->text);
        return -1;
    }
    b->said = 0;
    return rl_case_new(b->context, b->model, "test", &b->c) == RL_OK ? 0 : -1;
}

static int tear_down(void **state)
{
    bench *b = *state;
    rl_case_free(b->c);
    rl_model_free(b->model);
    rl_context_free(b->context);
    int lost = b->pieces != 0;
    free(b);
    return lost;
}

static rl_status add(bench *b, const char *text)
{
    return rl_case_add(b->c, text, strlen(text), "typed", 7);
}

static const rl_finding *last(const bench *b)
{
    assert_true(b->c->findings > 0);
    return b->c->finding[b->c->findings - 1];
}

/* Adds a line that must be good and say nothing. */
static const rl_finding *good(bench *b, const char *text)
{
    int said = b->said;
    if (add(b, text) != RL_OK)
        fail_msg("%s: %s", text, b->text);
    if (b->said != said)
        fail_msg("%s: %s", text, b->text);
    return last(b);
}

static void bad(bench *b, const char *text, int number, size_t column)
{
    int findings = b->c->findings, said = b->said;
    assert_int_equal(add(b, text), RL_INPUT);
    assert_int_equal(b->c->findings, findings);
    assert_int_equal(b->said, said + 1);
    assert_int_equal(b->severity, RL_ERROR);
    assert_int_equal(b->number, number);
    assert_int_equal(b->line, 7);
    assert_int_equal(b->column, column);
}

/* Adds a line that must be good and warn once. */
static const rl_finding *warned(bench *b, const char *text, int number)
{
    int said = b->said;
    assert_int_equal(add(b, text), RL_OK);
    assert_int_equal(b->said, said + 1);
    assert_int_equal(b->severity, RL_WARNING);
    assert_int_equal(b->number, number);
    return last(b);
}

static void weighs(const rl_finding *f, int count, ...)
{
    va_list want;
    assert_int_equal(f->weights, count);
    va_start(want, count);
    for (int i = 0; i < count; i++) {
        double w = va_arg(want, double);
        if (fabs(f->weight[i] - w) > 1e-15)
            fail_msg("weight %d is %.17g, not %.17g", i, f->weight[i], w);
    }
    va_end(want);
}

static int element(const bench *b, const char *name)
{
    int i = rl_find_element(b->model, name);
    assert_true(i >= 0);
    return i;
}

/* ---- what is seen ---- */

static void weights_of_levels(void **state)
{
    bench *b = *state;
    const rl_finding *f = good(b, "left dim");
    assert_int_equal(f->sort, RL_E_BEHAVIOUR);
    assert_int_equal(f->subject, element(b, "left"));
    weighs(f, 4, 0., 0., 1., 0.);
    weighs(good(b, "right flickers or dead"), 4, 0., 1., 0., 1.);
    weighs(good(b, "top not normal or dim sure 80%"), 4, 1 - 0.8, 0.8, 1 - 0.8, 0.8);
}

static void weights_under_said(void **state)
{
    bench *b = *state;
    good(b, "occasion road said 70%");
    weighs(good(b, "left dim"), 4, 1 - 0.7, 1 - 0.7, 0.7, 1 - 0.7);
    weighs(good(b, "right dim sure 1"), 4, 0., 0., 1., 0.);
    weighs(good(b, "odd present"), 2, 1 - 0.7, 0.7);
    weighs(good(b, "look post rusty"), 3, 1 - 0.7, 0.7, 1 - 0.7);
    weighs(good(b, "backfeed left to right absent"), 2, 0.7, 1 - 0.7);
    weighs(good(b, "pull left to right not absent sure 0.9"), 2, 1 - 0.9, 0.9);
    assert_int_equal(good(b, "others work")->weights, 0);
}

static void conditions(void **state)
{
    bench *b = *state;
    const rl_finding *f = good(b, "left dim with swap and bypass at frame and repaired knot and repaired left.wire");
    assert_true(f->with.swap && !f->with.bypass && !f->with.jumper);
    assert_int_equal(f->with.bypass_at, element(b, "frame"));
    assert_int_equal(f->with.repaired_count, 2);
    assert_true(f->with.repaired[0] < f->with.repaired[1]);
    assert_string_equal(f->key, "left with bypass at frame and repaired knot and repaired left.wire and swap");
    f = good(b, "left dead with bypass at post and bypass at knot");
    assert_int_equal(f->with.bypass_at, element(b, "knot"));
    assert_int_equal(f->with.cut_count, 2);   /* both have to be got at */
    assert_int_equal(f->with.cut[0] + f->with.cut[1], element(b, "post") + element(b, "knot"));
    f = good(b, "left dead with bypass and jumper");
    assert_true(f->with.bypass && f->with.jumper && f->with.bypass_at == -1);
    warned(b, "left dim with repaired side", 523);
    warned(b, "top dim with jumper", 524);
    bad(b, "left dim with bypass at side", 522, 25);
    bad(b, "odd present with swap", 520, 13);
}

/* ---- readings ---- */

static void default_ends_are_not_kept(void **state)
{
    bench *b = *state;
    const rl_finding *f = good(b, "drop left from left.wire to frame 0.1 V");
    assert_string_equal(f->line.text, "drop left to frame 0.1 V");
    assert_int_equal(f->from, -1);
    assert_int_equal(f->to, element(b, "frame"));
    assert_string_equal(good(b, "resistance left from knot to post 1 ohm")->line.text, "resistance left from knot 1 ohm");
    assert_string_equal(good(b, "continuity left to post beeps")->line.text, "continuity left beeps");
    /* the battery post belongs to the span of a drop unless it is written */
    assert_string_equal(good(b, "drop left to post 0.1 V")->line.text, "drop left to post 0.1 V");
}

static void numbers_of_readings(void **state)
{
    bench *b = *state;
    const rl_finding *f = good(b, "drop top 680 mV at 500 mA also right, left");
    assert_true(f->value == 0.68 && f->at == 0.5 && !f->open);
    assert_int_equal(f->also_count, 2);
    assert_string_equal(f->line.text, "drop top 680 mV at 500 mA also right, left");
    assert_string_equal(f->key, "drop top also left, right");
    f = good(b, "resistance left open");
    assert_true(f->open && f->value == 0);
    assert_true(good(b, "continuity left silent")->value == 0);
    assert_true(good(b, "continuity right beeps")->value == 1);
    assert_true(good(b, "supply left 11.9 V")->value == 11.9);
    good(b, "supply top 11.9 V");
    bad(b, "drop top 0.1 V", 535, 6);
    bad(b, "drop left 0.1 V also top", 534, 22);
}

/* sigma at v: sqrt((0.005 v + 0.002)^2 + (0.04 v)^2), without the second with a known battery.
 * v = 12 + 5 sigma at 15.0308 V with the vehicle's supply, at 12.3179 V with a battery of 12 V. */
static void above_the_supply(void **state)
{
    bench *b = *state;
    good(b, "drop left 15.03 V");
    warned(b, "drop right 15.032 V", 543);
    good(b, "occasion bay battery 12 V");
    good(b, "supply left 12.317 V");
    warned(b, "supply right 12.319 V", 543);
}

/* ---- replacing and taking back ---- */

static void replaced_and_back_again(void **state)
{
    bench *b = *state;
    good(b, "left dim");
    warned(b, "left dead", 546);
    assert_int_equal(b->other_line, 7);
    assert_true(rl_case_line(b->c, 0)->replaced && !rl_case_line(b->c, 1)->replaced);
    warned(b, "left normal sure 90%", 546);
    assert_int_equal(rl_case_withdraw(b->c, 1), RL_OK);
    assert_true(rl_case_line(b->c, 0)->replaced && !rl_case_line(b->c, 1)->replaced);
    assert_int_equal(rl_case_withdraw(b->c, 1), RL_OK);
    assert_true(!rl_case_line(b->c, 0)->replaced);
    assert_string_equal(rl_case_line(b->c, 0)->text, "left dim");
    assert_int_equal(rl_case_withdraw(b->c, 1), RL_USAGE);
    good(b, "left dead with swap");
    good(b, "occasion later");
    good(b, "left dead");
}

static void occasions_come_and_go(void **state)
{
    bench *b = *state;
    good(b, "occasion road said 80%");
    assert_int_equal(b->c->occasions, 1);
    good(b, "left dim");
    good(b, "occasion bay battery 12.1 V");
    good(b, "left normal");
    assert_int_equal(rl_case_line(b->c, 3)->occasion, 1);
    assert_true(b->c->occasion[1].battery == 12.1 && b->c->occasion[0].said == 0.8);
    assert_int_equal(rl_case_withdraw(b->c, 0), RL_USAGE);
    assert_int_equal(rl_case_withdraw(b->c, 1), RL_OK);
    assert_int_equal(rl_case_withdraw(b->c, 0), RL_OK);
    assert_int_equal(b->c->occasions, 1);
    assert_string_equal(b->c->occasion[0].id, "bay");
    assert_int_equal(rl_case_line(b->c, 1)->occasion, 0);
    bad(b, "occasion bay", 504, 10);
    good(b, "occasion road");
}

static void an_emptied_unnamed_occasion(void **state)
{
    bench *b = *state;
    good(b, "left dim");
    good(b, "occasion bay");
    good(b, "right dim");
    assert_int_equal(rl_case_withdraw(b->c, 0), RL_OK);
    assert_int_equal(b->c->occasions, 1);
    assert_int_equal(rl_case_withdraw(b->c, 1), RL_OK);
    assert_int_equal(rl_case_withdraw(b->c, 0), RL_OK);
    assert_null(b->c->occasion[0].id);
    assert_true(good(b, "left dim")->occasion == 0);
}

static void hundreds_of_lines(void **state)
{
    bench *b = *state;
    for (int i = 0; i < 500; i++)
        assert_int_equal(add(b, i % 2 ? "left dim" : "right dead"), RL_OK);
    for (size_t i = 0; i < 500; i++)
        assert_int_equal(rl_case_line(b->c, i)->replaced, i < 498);
    for (size_t i = 0; i < 499; i++)
        assert_int_equal(rl_case_withdraw(b->c, 499 - i), RL_OK);
    assert_int_equal(rl_case_lines(b->c), 1);
    assert_true(!rl_case_line(b->c, 0)->replaced);
}

/* ---- names, places, found ---- */

static void places_and_names(void **state)
{
    bench *b = *state;
    bad(b, "lfet dim", 507, 1);
    assert_string_equal(b->text, "no load, symptom or inspection is called `lfet`; did you mean `left`?");
    bad(b, "left dimm", 512, 6);
    assert_string_equal(b->text, "`dimm` is no level of kind `lamp`: normal, flickers, dim, dead; did you mean `dim`?");
    assert_int_equal(add(b, "left dim\nright dim"), RL_INPUT);
    assert_int_equal(b->number, 551);
    assert_int_equal(b->line, 8);
    assert_int_equal(add(b, "# nothing"), RL_OK);
    assert_int_equal(rl_case_lines(b->c), 0);
    assert_int_equal(good(b, "left dim")->line.line, 7);
    assert_string_equal(last(b)->line.path, "typed");
}

static void naming_a_case(void **state)
{
    bench *b = *state;
    assert_string_equal(rl_case_name(b->c), "test");
    assert_int_equal(add(b, "case \"seven\" on van \"after rain\""), RL_OK);
    assert_string_equal(rl_case_name(b->c), "seven");
    assert_string_equal(rl_case_label(b->c), "after rain");
    assert_int_equal(add(b, "case \"eight\" on bus"), RL_INPUT);
    assert_int_equal(b->number, 503);
    assert_string_equal(rl_case_name(b->c), "seven");
}

static void what_was_found(void **state)
{
    bench *b = *state;
    const rl_fault *fault;
    size_t count;
    bool only;
    good(b, "found frame corroded");
    good(b, "occasion proof");
    warned(b, "found frame open", 546);
    good(b, "found left failed");
    assert_int_equal(rl_case_found(b->c, &fault, &count, &only), RL_OK);
    assert_int_equal(count, 2);
    assert_true(!only);
    assert_true(fault[0].element == (size_t)element(b, "frame") && fault[0].state == RL_OPEN);
    assert_true(fault[1].element == (size_t)element(b, "left") && fault[1].state == RL_FAILED);
    bad(b, "found nothing", 549, 1);
    bad(b, "found left open", 547, 1);
    bad(b, "found frame failed", 548, 1);
    warned(b, "found only side loose", 550);
    assert_int_equal(rl_case_found(b->c, &fault, &count, &only), RL_OK);
    assert_true(only && count == 3);
}

static void found_nothing_says_all(void **state)
{
    bench *b = *state;
    const rl_fault *fault;
    size_t count;
    bool only;
    good(b, "found nothing");
    assert_int_equal(rl_case_found(b->c, &fault, &count, &only), RL_OK);
    assert_true(only && count == 0);
}

/* ---- which rules a case uses ---- */

static void touched(bench *b, const char *const *names, size_t count)
{
    bool flag[64] = { false };
    size_t flags = rl_model_flags(b->model), set = 0;
    assert_true(flags <= 64);
    assert_int_equal(rl_case_touch(b->c, flag), RL_OK);
    for (size_t i = 0; i < flags; i++)
        set += flag[i];
    assert_int_equal(set, count);
    for (size_t i = 0; i < count; i++)
        assert_true(flag[element(b, names[i])]);
}

static void what_is_touched(void **state)
{
    bench *b = *state;
    const char *const behaviour[] = { "left", "left.wire", "knot", "frame", "post", "f1" };
    good(b, "left dim");
    touched(b, behaviour, 6);
    rl_case_withdraw(b->c, 0);
    const char *const span[] = { "left", "knot" };
    good(b, "resistance left from knot to frame 1 ohm");
    touched(b, span, 2);
    rl_case_withdraw(b->c, 0);
    const char *const pulled[] = { "left", "right", "knot", "frame", "post", "f1" };
    good(b, "pull left to right absent");
    touched(b, pulled, 6);
    rl_case_withdraw(b->c, 0);
    const char *const rest[] = { "top", "top.wire", "side", "post" };
    good(b, "others of side work");
    touched(b, rest, 4);
}

static void symptoms_and_inspections_touched(void **state)
{
    bench *b = *state;
    bool flag[64] = { false };
    good(b, "odd absent");
    good(b, "look post clean");
    assert_int_equal(rl_case_touch(b->c, flag), RL_OK);
    assert_true(flag[element(b, "frame")] && flag[element(b, "post")]);
    assert_true(flag[b->model->nodes] && flag[b->model->nodes + 1]);
    assert_true(!flag[element(b, "left")]);
}

/* ---- books ---- */

static rl_book *book(bench *b, const char *text, rl_status want)
{
    rl_book *out;
    b->book = text;
    assert_int_equal(rl_book_read(b->context, b->model, "b.case", &out), want);
    assert_non_null(out);
    return out;
}

static void one_bad_case(void **state)
{
    bench *b = *state;
    rl_book *books = book(b, "case \"a\" on van\nleft dim\nleft bright\nright dim\n"
                             "case \"b\" on bus\nnonsense here\ncase \"c\" on van\nleft dead\n", RL_INPUT);
    assert_int_equal(b->said, 2);
    assert_int_equal(rl_book_count(books), 3);
    const bool damaged[] = { true, true, false };
    const size_t lines[] = { 2, 0, 1 };
    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(rl_case_damaged(rl_book_case(books, i)), damaged[i]);
        assert_int_equal(rl_case_lines(rl_book_case(books, i)), lines[i]);
    }
    rl_book_free(books);
}

/* A `case` line that cannot be read must not give its lines to the case before it. */
static void a_lost_head(void **state)
{
    bench *b = *state;
    rl_book *books = book(b, "case \"a\" on van\nleft dim\ncase b on van\nright dead\ncase \"c\" on van\n", RL_INPUT);
    assert_int_equal(b->said, 1);
    assert_int_equal(rl_book_count(books), 3);
    assert_int_equal(rl_case_lines(rl_book_case(books, 0)), 1);
    assert_true(!rl_case_damaged(rl_book_case(books, 0)));
    assert_true(rl_case_damaged(rl_book_case(books, 1)));
    assert_int_equal(rl_case_lines(rl_book_case(books, 1)), 1);
    rl_book_free(books);
    books = book(b, "case \"a\" on van\nleft dim\noccasion\nleft dead\n", RL_INPUT);
    assert_int_equal(b->said, 2);
    assert_int_equal(rl_case_line(rl_book_case(books, 0), 1)->occasion, 1);
    rl_book_free(books);
}

static void no_such_file(void **state)
{
    bench *b = *state;
    rl_book *out;
    assert_int_equal(rl_book_read(b->context, b->model, "none.case", &out), RL_INPUT);
    assert_null(out);
    assert_int_equal(b->number, 601);
}

/* ---- the k-th piece of memory is refused, for every k ---- */

static void adding_without_memory(void **state)
{
    bench *b = *state;
    const char *const lines[] = { "left dim", "left dead sure 40%", "drop left from knot to frame 0.1 V also right",
                                  "occasion bay with repaired knot", "left dim with repaired side", "case \"x\" on van",
                                  "left dimm" };
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        int findings = b->c->findings, occasions = b->c->occasions;
        bool replaced = findings > 0 && rl_case_line(b->c, 0)->replaced;
        rl_status status = RL_MEMORY;
        for (long k = 1; status == RL_MEMORY; k++) {
            b->taken = 0;
            b->fail_at = k;
            status = add(b, lines[i]);
            if (status != RL_MEMORY)
                break;
            assert_true(k < 1000);
            assert_int_equal(b->c->findings, findings);
            assert_int_equal(b->c->occasions, occasions);
            assert_true(findings == 0 || rl_case_line(b->c, 0)->replaced == replaced);
        }
        b->fail_at = 0;
        assert_int_equal(status, i == 6 ? RL_INPUT : RL_OK);
    }
    assert_int_equal(rl_case_lines(b->c), 5);
    assert_string_equal(rl_case_name(b->c), "x");
}

static void books_without_memory(void **state)
{
    bench *b = *state;
    rl_book *out = NULL;
    rl_status status = RL_MEMORY;
    long pieces = b->pieces;
    b->book = "case \"a\" on van\nleft dim\nbroken\ncase b on van\nleft dim\ncase \"c\" on van\nright dim\n";
    for (long k = 1; status == RL_MEMORY && k < 1000; k++) {
        b->taken = 0;
        b->fail_at = k;
        status = rl_book_read(b->context, b->model, "b.case", &out);
        assert_true((out == NULL) == (status == RL_MEMORY));
        assert_true(out != NULL || b->pieces == pieces);
    }
    b->fail_at = 0;
    assert_int_equal(status, RL_INPUT);
    assert_int_equal(rl_book_count(out), 3);
    rl_book_free(out);
    assert_int_equal(b->pieces, pieces);
}

/* Of a batch only the case at hand keeps what was worked out. */
static void a_resting_case_gives_its_memory_back(void **state)
{
    bench *b = *state;
    const rl_answer *answer;
    assert_int_equal(add(b, "left dead"), RL_OK);
    assert_int_equal(rl_case_answer(b->c, &answer), RL_OK);
    long working = b->pieces;
    double p = answer->belief[0].p[RL_CORRODED];
    rl_case_rest(b->c);
    long resting = b->pieces;
    assert_true(resting < working);
    assert_int_equal(rl_case_answer(b->c, &answer), RL_OK);
    assert_true(answer->belief[0].p[RL_CORRODED] == p);
    assert_int_equal(b->pieces, working);
    rl_case_rest(b->c);
    rl_case_rest(b->c);   /* nothing is left to give */
    assert_int_equal(b->pieces, resting);
}

#define T(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        T(weights_of_levels), T(weights_under_said), T(conditions), T(default_ends_are_not_kept),
        T(numbers_of_readings), T(above_the_supply), T(replaced_and_back_again), T(occasions_come_and_go),
        T(an_emptied_unnamed_occasion), T(hundreds_of_lines), T(places_and_names), T(naming_a_case),
        T(what_was_found), T(found_nothing_says_all), T(what_is_touched), T(symptoms_and_inspections_touched),
        T(one_bad_case), T(a_lost_head), T(no_such_file), T(adding_without_memory), T(books_without_memory),
        T(a_resting_case_gives_its_memory_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}

/* page_next.c: what to do next, as a part of a page.
 *
 * Invariant: tests have the same numbers on every page of a case that shows as
 * many of them; the cautions of a test stand before what is to be done.
 */
#include "page_next.h"

#include "cautions.h"
#include "recipe.h"
#include "words.h"
#include "words_next.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

enum { FULLY_SHOWN = 2, PAIRS_SHOWN = 3, FOLLOWS_SHOWN = 3 };

static void say(const page *p, const char *first, const text *safe)
{
    term_wrap(p->screen, first, term_cells(first), text_get(safe));
}

/* ---- which tests, and in which order ---- */

/* Tests as they are numbered: those from the driver's seat, then the others. */
typedef struct numbered {
    const rl_test **test;      /* owned */
    size_t count, seats;
} numbered;

/* Whether an earlier, better test takes the same reading of the same elements of returns. */
static bool seen_before(const rl_test *test, size_t index)
{
    if (!words_is_reading(&test[index]) || test[index].sort == RL_TEST_SUPPLY)
        return false;
    for (size_t i = 0; i < index; i++)
        if (test[i].sort == test[index].sort && test[i].measures == test[index].measures)
            return true;
    return false;
}

/* The tests of the group, best first; returns how many. */
static size_t gather(const rl_test *test, size_t count, bool seat, const rl_test **out)
{
    size_t found = 0;
    for (size_t i = 0; i < count; i++)
        if (rl_test_from_seat(&test[i]) == seat && test[i].bits >= 0 && !seen_before(test, i))
            out[found++] = &test[i];
    return found;
}

static size_t at_most(size_t count, size_t most)
{
    return count < most ? count : most;
}

/* Half of the numbers are for the driver's seat, unless the others do not fill theirs. */
static void number_tests(const page *p, const rl_test *test, size_t count, numbered *out)
{
    const rl_test **other = tool_take((count + 1) * sizeof *other);
    size_t most = p->tests == 0 ? count : p->tests;
    out->test = tool_take((count + 1) * sizeof *out->test);
    size_t seats = gather(test, count, true, out->test), others = gather(test, count, false, other);
    out->seats = at_most(seats, p->tests == 0 ? most : (most + 1) / 2);
    others = at_most(others, most - out->seats);
    out->seats = at_most(seats, most - others);
    memcpy(out->test + out->seats, other, others * sizeof *other);
    out->count = out->seats + others;
    free(other);
}

/* Several tests may measure the same, and many may be done from the seat: more are asked for than
 * are shown, and once more if the others are too few. */
static rl_status ask_tests(const page *p, rl_case *c, numbered *out)
{
    const rl_test *test;
    size_t count;
    *out = (numbered){ NULL, 0, 0 };
    for (size_t reach = 5 * p->tests;; reach *= 4) {
        rl_status status = rl_case_best_tests(c, reach, &test, &count);
        if (status != RL_OK)
            return status;
        number_tests(p, test, count, out);
        if (reach == 0 || count < reach || reach > 20 * p->tests || out->count - out->seats >= p->tests / 2)
            return RL_OK;
        free(out->test);
    }
}

/* ---- one test ---- */

static void print_cautions(const page *p, const char *first, const rl_test *test)
{
    text_list cautions = { 0 };
    cautions_of_test(&cautions, p->model, test);
    for (size_t i = 0; i < cautions.count; i++) {
        text line = { 0 };
        text_add(&line, "Caution: ");
        term_safe(&line, cautions.item[i]);
        term_wrap(p->screen, i == 0 ? first : "     ", 5, text_get(&line));
        text_free(&line);
    }
    if (cautions.count == 0)
        fputs(first, p->screen->out);
    else
        fputs("     ", p->screen->out);
    list_free(&cautions);
}

/* The cautions, then the line to type with minutes and bits. */
static void print_line(const page *p, const char *first, const rl_test *test)
{
    assert(term_cells(first) == 5);
    text line = { 0 }, cost = { 0 };
    print_cautions(p, first, test);
    words_minutes(&cost, test->minutes);
    text_add(&cost, ", %.2f bit", test->bits);
    term_safe(&line, test->text);
    if (5 + term_cells(text_get(&line)) + 4 + term_cells(text_get(&cost)) > p->screen->width) {
        term_wrap(p->screen, "", 5, text_get(&line));
        text_clear(&line);
        text_add(&line, "(%s)", text_get(&cost));
        term_wrap(p->screen, "     ", 5, text_get(&line));
    } else {
        fprintf(p->screen->out, "%s  (%s)\n", text_get(&line), text_get(&cost));
    }
    text_free(&line);
    text_free(&cost);
}

void page_test(const page *p, const char *first, const rl_test *test)
{
    text line = { 0 };
    print_line(p, first, test);
    words_how(&line, p->model, test);
    text_add(&line, " ");
    words_outcomes(&line, p->model, test);
    text_trim(&line);
    say(p, "     ", &line);
    text_free(&line);
}

static void print_recipe(const page *p, rl_case *c, const char *first, const rl_test *test)
{
    recipe r;
    rl_test ranged;
    print_line(p, first, test);
    recipe_make(&r, p->model, rl_case_ranges(c, test, &ranged) == RL_OK ? &ranged : test);
    for (size_t i = 0; i < r.head.count; i++) {
        text line = { 0 };
        text_add(&line, "%s: %s", r.head.item[i], r.body.item[i]);
        say(p, "     - ", &line);
        text_free(&line);
    }
    recipe_free(&r);
}

/* A number as it stands before a test: 5 columns. */
static void put_number(text *first, size_t number)
{
    text_add(first, number < 1000 ? "%3zu. " : number < 10000 ? "%4zu." : "%5zu", number);
}

/* ---- the list ---- */

static void print_numbered(const page *p, rl_case *c, const numbered *list, size_t number)
{
    text first = { 0 };
    const rl_test *test = list->test[number];
    put_number(&first, number + 1);
    if (p->recipes)
        print_recipe(p, c, text_get(&first), test);
    else if (number < FULLY_SHOWN || number == list->seats)
        page_test(p, text_get(&first), test);
    else
        print_line(p, text_get(&first), test);
    text_free(&first);
}

/* That nothing is listed: all is done, or no test can be weighed without an exact answer. */
static void print_none(const page *p, rl_case *c)
{
    const rl_answer *answer;
    if (rl_case_answer(c, &answer) == RL_OK && answer->bounded)
        term_wrap(p->screen, "  ", 2, "none is worked out: that takes an exact answer, and more memory (--memory)");
    else
        fputs("  none is left\n", p->screen->out);
}

static void print_list(const page *p, rl_case *c, const numbered *list)
{
    if (list->seats > 0) {
        term_heading(p->screen, "Next tests from the driver's seat, best first");
        for (size_t i = 0; i < list->seats; i++)
            print_numbered(p, c, list, i);
        fputc('\n', p->screen->out);
    }
    term_heading(p->screen, list->seats > 0 ? "Other tests, best first" : "Next tests, best first");
    for (size_t i = list->seats; i < list->count; i++)
        print_numbered(p, c, list, i);
    if (list->count == list->seats)
        print_none(p, c);
}

static void print_unknown(const page *p, const rl_case *c)
{
    text line = { 0 };
    if (rl_case_tests_share(c) < 1) {
        words_tests_share(&line, rl_case_tests_share(c));
        say(p, "  ", &line);
        text_clear(&line);
    }
    if (rl_case_tests_unknown(c) > 0) {
        words_unknown(&line, rl_case_tests_unknown(c));
        say(p, "  ", &line);
    }
    text_free(&line);
}

/* ---- two tests ahead ---- */

static int by_chance(const void *a, const void *b)
{
    const rl_follow *const *x = a, *const *y = b;
    double p = words_coarse((*x)->p), q = words_coarse((*y)->p);
    if (p > q || p < q)
        return p > q ? -1 : 1;
    return *x < *y ? -1 : *x > *y;   /* as the outcomes stand */
}

/* The likeliest outcomes of a first test, each with the test that is best then. */
static void print_follows(const page *p, const rl_pair *pair)
{
    const rl_follow **list = tool_take((pair->follows + 1) * sizeof *list);
    for (size_t i = 0; i < pair->follows; i++)
        list[i] = &pair->follow[i];
    qsort(list, pair->follows, sizeof *list, by_chance);
    for (size_t i = 0; i < pair->follows && i < FOLLOWS_SHOWN; i++) {
        text line = { 0 };
        text_add(&line, "if ");
        words_follow(&line, pair->first, list[i]);
        text_add(&line, " (");
        words_percent(&line, list[i]->p);
        text_add(&line, "): ");
        if (list[i]->test != NULL)
            term_safe(&line, list[i]->test->text);
        else
            text_add(&line, "no test tells more");
        say(p, "     - ", &line);
        text_free(&line);
    }
    free(list);
}

static rl_status print_pairs(const page *p, rl_case *c)
{
    const rl_pair *pair;
    size_t count;
    rl_status status = rl_case_look_ahead(c, 0, &pair, &count);
    if (status != RL_OK || count == 0)
        return status;
    term_heading(p->screen, "Two tests ahead, best first");
    for (size_t i = 0; i < count && i < PAIRS_SHOWN; i++) {
        text line = { 0 }, first = { 0 };
        text_add(&first, "%3zu. ", i + 1);
        term_safe(&line, pair[i].first->text);
        text_add(&line, ", then by what it shows (");
        words_minutes(&line, pair[i].minutes);
        text_add(&line, ", %.2f bit)", pair[i].bits);
        say(p, text_get(&first), &line);
        print_follows(p, &pair[i]);
        text_free(&line);
        text_free(&first);
    }
    fputc('\n', p->screen->out);
    return RL_OK;
}

rl_status page_tests(const page *p, rl_case *c)
{
    numbered list;
    rl_status status = ask_tests(p, c, &list);
    if (status != RL_OK)
        return status;
    print_list(p, c, &list);
    print_unknown(p, c);
    fputc('\n', p->screen->out);
    free(list.test);
    return p->lookahead >= 2 ? print_pairs(p, c) : RL_OK;
}

/* ---- on demand ---- */

/* A case that contradicts itself is said to do so. */
static rl_status no_tests(const page *p, rl_case *c, rl_status status)
{
    rl_status said = status == RL_CONTRADICTION ? page_contradiction(p, c) : RL_OK;
    return said == RL_OK ? status : said;
}

rl_status page_how(const page *p, rl_case *c, size_t number, bool *found)
{
    numbered list;
    rl_status status = ask_tests(p, c, &list);
    *found = false;
    if (status != RL_OK)
        return no_tests(p, c, status);
    if (number >= 1 && number <= list.count) {
        text first = { 0 };
        put_number(&first, number);
        print_recipe(p, c, text_get(&first), list.test[number - 1]);
        text_free(&first);
        *found = true;
    }
    free(list.test);
    return RL_OK;
}

rl_status page_next(const page *p, rl_case *c)
{
    const rl_outlook *outlook;
    rl_status status = page_tests(p, c);
    if (status == RL_OK)
        status = rl_case_outlook(c, 0, &outlook);
    if (status != RL_OK)
        return no_tests(p, c, status);
    page_courses(p, outlook);
    return RL_OK;
}

/* ---- test on, or repair ---- */

static void print_course(const page *p, double minutes, const text *what)
{
    text first = { 0 };
    text_add(&first, "  %6.1f  ", minutes);   /* tenths: half a minute is what a look takes */
    say(p, text_get(&first), what);
    text_free(&first);
}

/* The test that is advised, or, where none is, the one that comes nearest. */
static void print_test_first(const page *p, const rl_outlook *outlook)
{
    const rl_course *course = outlook->advice != NULL ? outlook->advice : &outlook->course[0];
    text line = { 0 };
    if (outlook->courses > 0) {
        text_add(&line, "test first: ");
        term_safe(&line, course->test.text);
        text_add(&line, ", then repair what is likeliest for its minutes");
        print_course(p, course->minutes, &line);
    }
    text_free(&line);
}

static void print_repair_first(const page *p, const rl_outlook *outlook)
{
    text line = { 0 };
    words_repairs(&line, p->model, outlook);
    print_course(p, outlook->minutes, &line);
    text_free(&line);
}

void page_courses(const page *p, const rl_outlook *outlook)
{
    if (outlook->mends == 0)
        return;
    term_heading(p->screen, "Expected minutes to a confirmed repair");
    if (outlook->advice != NULL)
        print_test_first(p, outlook);
    print_repair_first(p, outlook);
    if (outlook->advice == NULL)
        print_test_first(p, outlook);
    fputc('\n', p->screen->out);
}

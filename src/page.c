/* page.c: the ranking of a case as a page.
 *
 * Invariant: no line is wider than the screen; all that comes from files goes
 * through term_safe or term_fit; the cautions of a test stand before it.
 */
#include "page.h"

#include "cautions.h"
#include "page_next.h"
#include "words.h"
#include "words_next.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double worth_showing = 0.01;   /* a suspect of design §4 has at least this */
enum { MOST_ROWS = 8, LEAST_POINTS = 3, MOST_WEIGHTS = 4, BRIEF_TESTS = 2 };

static void say(const page *p, const char *first, const text *safe)
{
    term_wrap(p->screen, first, term_cells(first), text_get(safe));
}

typedef struct rank { size_t element; double p; } rank;

static int by_p(const void *a, const void *b)
{
    const rank *x = a, *y = b;
    double p = words_coarse(x->p), q = words_coarse(y->p);   /* what differs by rounding alone stands as declared */
    if (p > q || p < q)
        return p > q ? -1 : 1;
    return x->element < y->element ? -1 : x->element > y->element;
}

/* The points, or all others, the likeliest first.  To be freed. */
static rank *ranking(const rl_model *model, const rl_answer *answer, bool points, bool all, size_t *count)
{
    size_t n = rl_model_vehicle(model)->elements;
    rank *list = tool_take((n + 1) * sizeof *list);
    *count = 0;
    for (size_t i = 0; i < n; i++)
        if (all || (rl_model_element(model, i)->sort == RL_POINT) == points)
            list[(*count)++] = (rank){ i, words_not_sound(&answer->belief[i]) };
    qsort(list, *count, sizeof *list, by_p);
    return list;
}

/* Columns for the name: what the others leave of the screen.  Names are what is typed. */
static size_t name_cells(size_t width, bool sort, bool state)
{
    enum { LEAST = 10, MOST = 18 };
    size_t rest = 10u + (sort ? 10 : 0) + (state ? 10 : 0);   /* the percentage and what is between */
    size_t room = width > rest ? width - rest : 0;
    return room < LEAST ? LEAST : room > MOST ? MOST : room;
}

static void print_row(const page *p, const rl_answer *answer, rank r, bool with_sort)
{
    const rl_element *e = rl_model_element(p->model, r.element);
    size_t width = p->screen->width, spare = width >= 80 ? 1 : 0;
    bool sort = with_sort && width >= 44, state = width >= 32;   /* the first that have no room */
    text row = { 0 }, label = { 0 }, percent = { 0 };
    words_label(&label, p->model, r.element);
    words_percent(&percent, r.p);
    text_add(&row, "  ");
    term_fit(p->screen, &row, e->id, name_cells(width, sort && !spare, state));
    text_add(&row, " ");
    if (sort)
        text_add(&row, "%-9s ", rl_sort_text(e->sort));
    if (spare) {
        term_fit(p->screen, &row, text_get(&label), with_sort ? 17 : 23);
        text_add(&row, " ");
        term_bar(p->screen, &row, r.p, with_sort ? 10 : 14);
    }
    text_add(&row, " %6s", text_get(&percent));
    if (state)
        text_add(&row, "  %s", rl_state_text(words_worst(&answer->belief[r.element])));
    fprintf(p->screen->out, "%s\n", text_get(&row));
    text_free(&row);
    text_free(&label);
    text_free(&percent);
}

static void print_table(const page *p, const rl_answer *answer, bool points)
{
    size_t count, shown = 0;
    rank *list = ranking(p->model, answer, points, false, &count);
    term_heading(p->screen, points ? "Ground points" : "Other suspects");
    while (shown < count && shown < MOST_ROWS
           && (list[shown].p >= worth_showing || (points && shown < LEAST_POINTS)))
        print_row(p, answer, list[shown++], !points);
    if (shown == 0)
        fprintf(p->screen->out, "  none%s\n", points ? "" : " of 1% or more");
    else if (shown < count) {
        text rest = { 0 };
        words_percent(&rest, list[shown].p);
        text said = { 0 };
        text_add(&said, "and %zu more, none above %s", count - shown, text_get(&rest));
        say(p, "  ", &said);
        text_free(&said);
        text_free(&rest);
    }
    fputc('\n', p->screen->out);
    free(list);
}

static int by_size(const void *a, const void *b)
{
    const rl_weight *x = a, *y = b;
    double dx = words_coarse(fabs(x->db)), dy = words_coarse(fabs(y->db));
    if (dx > dy || dx < dy)
        return dx > dy ? -1 : 1;
    return x->line < y->line ? -1 : x->line > y->line;
}

static void print_weights(const page *p, const rl_case *c, const rl_weight *weight, size_t count, bool in_favour)
{
    size_t shown = 0;
    for (size_t i = 0; i < count && shown < MOST_WEIGHTS; i++) {
        const char *strength = words_strength(weight[i].db);
        if (strength == NULL || (weight[i].db > 0) != in_favour)
            continue;
        text line = { 0 }, first = { 0 };
        words_line(&line, rl_case_line(c, weight[i].line), false);
        text_add(&first, "  %-8s %-9s ", in_favour ? "for" : "against", strength);
        say(p, text_get(&first), &line);
        text_free(&line);
        text_free(&first);
        shown++;
    }
    if (shown == 0)
        term_wrap(p->screen, in_favour ? "  for      " : "  against  ", 11, "nothing of weight");
}

rl_status page_why(const page *p, rl_case *c, size_t element)
{
    assert(element < rl_model_vehicle(p->model)->elements);
    const rl_why *why;
    rl_status status = rl_case_why(c, element, &why);
    if (status != RL_OK)
        return status;
    text line = { 0 };
    text_add(&line, "What speaks for and against ");
    words_name(&line, p->model, element);
    say(p, "", &line);
    rl_weight *sorted = tool_take((why->count + 1) * sizeof *sorted);
    for (size_t i = 0; i < why->count; i++)
        sorted[i] = why->weight[i];
    qsort(sorted, why->count, sizeof *sorted, by_size);
    print_weights(p, c, sorted, why->count, true);
    print_weights(p, c, sorted, why->count, false);
    text_clear(&line);
    text_add(&line, "At fault before any finding: ");
    words_percent(&line, why->prior);
    text_add(&line, "; now: ");
    words_percent(&line, why->posterior);
    text_add(&line, ".");
    say(p, "  ", &line);
    fputc('\n', p->screen->out);
    free(sorted);
    text_free(&line);
    return RL_OK;
}

static rl_status print_explanations(const page *p, rl_case *c)
{
    const rl_explanation *x;
    size_t count;
    rl_status status = rl_case_explain(c, p->explanations, &x, &count);
    if (status != RL_OK || count == 0)
        return status;
    term_heading(p->screen, "All suspects together");
    for (size_t i = 0; i < count; i++) {
        text line = { 0 }, percent = { 0 }, first = { 0 };
        words_percent(&percent, x[i].p);
        words_explanation(&line, p->model, &x[i]);
        text_add(&first, "  %6s  ", text_get(&percent));
        say(p, text_get(&first), &line);
        text_free(&line);
        text_free(&percent);
        text_free(&first);
    }
    fputc('\n', p->screen->out);
    return RL_OK;
}

static void print_head(const page *p, const rl_case *c)
{
    const rl_vehicle *v = rl_model_vehicle(p->model);
    text line = { 0 };
    text_add(&line, "Case ");
    term_safe(&line, words_case(c));
    text_add(&line, ": ");
    if (rl_case_label(c) != NULL) {
        term_safe(&line, rl_case_label(c));
        text_add(&line, ", ");
    }
    term_safe(&line, v->label);
    fputs(p->screen->colour ? "\033[1m" : "", p->screen->out);
    say(p, "", &line);
    fputs(p->screen->colour ? "\033[0m" : "", p->screen->out);
    text_free(&line);
}

/* What could be done next, and the sum of all; printed last, so that it is what is seen. */
static rl_status print_sum(const page *p, rl_case *c, const rl_answer *answer, const rl_shares *shares)
{
    const rl_outlook *outlook;
    const rl_test *best;
    size_t count;
    rl_status status = rl_case_outlook(c, 0, &outlook);
    if (status == RL_OK)
        status = rl_case_best_tests(c, 1, &best, &count);
    if (status != RL_OK)
        return status;
    page_courses(p, outlook);
    text line = { 0 };
    words_sum(&line, p->model, answer, shares);
    if (!answer->bounded || count > 0)   /* else no test was worked out */
        words_step(&line, p->model, outlook, count > 0 ? best : NULL);
    say(p, "In short: ", &line);
    text_clear(&line);
    text_add(&line, "%s", cautions_always);
    say(p, "Always: ", &line);
    text_free(&line);
    return RL_OK;
}

rl_status page_contradiction(const page *p, rl_case *c)
{
    const size_t *lines;
    size_t count;
    text line = { 0 };
    rl_status status = rl_case_contradiction(c, &lines, &count);
    if (status != RL_OK)
        return status;
    text_add(&line, count == 1 ? "This finding cannot be, whatever is at fault:"
                               : "These findings contradict each other; one of them must be wrong:");
    say(p, "", &line);
    for (size_t i = 0; i < count; i++) {
        text_clear(&line);
        words_line(&line, rl_case_line(c, lines[i]), true);
        say(p, "  - ", &line);
    }
    text_free(&line);
    return RL_OK;
}

/* Says what came of asking instead of an answer. */
static rl_status no_answer(const page *p, rl_case *c, rl_status status)
{
    if (status == RL_CONTRADICTION) {
        rl_status said = page_contradiction(p, c);
        return said == RL_OK ? status : said;
    }
    return status;
}

/* A part of the page that would pass the memory bound is missing, says so, and stops no other part. */
static rl_status part(const page *p, rl_status *wide, rl_status status, const char *heading)
{
    text line = { 0 };
    if (status != RL_WIDE)
        return status;
    *wide = RL_WIDE;
    term_heading(p->screen, heading);
    text_add(&line, "Not worked out: it would need more memory than the bound allows (--memory).");
    say(p, "  ", &line);
    fputc('\n', p->screen->out);
    text_free(&line);
    return RL_OK;
}

rl_status page_case(const page *p, rl_case *c)
{
    const rl_answer *answer;
    const rl_shares *shares;
    print_head(p, c);
    rl_status status = rl_case_answer(c, &answer);
    if (status == RL_OK)
        status = rl_case_shares(c, &shares);
    if (status != RL_OK)
        return no_answer(p, c, status);
    if (rl_model_vehicle(p->model)->elements == 0) {
        term_wrap(p->screen, "", 0, "The rules declare nothing that could be at fault.");
        return RL_OK;
    }
    text line = { 0 };
    words_shares(&line, shares);
    say(p, "", &line);
    text_clear(&line);
    if (answer->bounded) {
        words_bound(&line, answer);
        say(p, "", &line);
    }
    text_free(&line);
    fputc('\n', p->screen->out);
    print_table(p, answer, true);
    print_table(p, answer, false);
    rl_status wide = RL_OK;
    status = part(p, &wide, page_why(p, c, words_leader(p->model, answer)), "What speaks for and against the leader");
    if (status == RL_OK)
        status = part(p, &wide, print_explanations(p, c), "All suspects together");
    if (status == RL_OK)
        status = part(p, &wide, page_tests(p, c), "Next tests");
    if (status == RL_OK)
        status = part(p, &wide, print_sum(p, c, answer, shares), "In short");
    return status == RL_OK ? wide : status;
}

rl_status page_brief(const page *p, rl_case *c)
{
    const rl_answer *answer;
    const rl_outlook *outlook;
    const rl_test *test;
    size_t count;
    rl_status status = rl_case_answer(c, &answer);
    if (status != RL_OK)
        return no_answer(p, c, status);
    if (answer->bounded) {
        text bound = { 0 };
        words_bound(&bound, answer);
        say(p, "  ", &bound);
        text_free(&bound);
    }
    rank *list = ranking(p->model, answer, false, true, &count);
    for (size_t i = 0; i < count && i < 3; i++)
        print_row(p, answer, list[i], true);
    free(list);
    status = rl_case_outlook(c, BRIEF_TESTS, &outlook);
    if (status == RL_OK)
        status = rl_case_best_tests(c, 1, &test, &count);
    if (status != RL_OK)
        return status;
    if (outlook->stop) {
        text stop = { 0 };
        words_step(&stop, p->model, outlook, NULL);
        say(p, "    ", &stop);
        text_free(&stop);
    }
    if (count == 0 && answer->bounded)
        term_wrap(p->screen, "  ", 2, "No test is worked out: that takes an exact answer, and more memory (--memory).");
    else if (count == 0)
        fputs("  No test is left.\n", p->screen->out);
    else
        page_test(p, "next ", &test[0]);
    return RL_OK;
}

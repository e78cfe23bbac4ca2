/* feed.c: what is done with an input, by the fuzz targets and by test_corpus.c.
 *
 * Invariant: every object made is freed before an answer is judged, so that a
 * broken promise is told apart from a leak.
 */
#include "feed.h"

#include "held.h"
#include "parse.h"
#include "small.h"

#include <math.h>
#include <setjmp.h>
#include <stdlib.h>
#include <string.h>

enum { MEMORY_BOUND = 1 << 22, MOST_ELEMENTS = 60, MOST_LINES = 30, MOST_OCCASIONS = 2, MOST_EXPLANATIONS = 4 };
#define MOST_CELLS 5e3   /* answers with larger tables are not asked for tests: that takes seconds */

static bool probability(double p)
{
    return p >= -1e-12 && p <= 1 + 1e-9;   /* false for NaN */
}

/* ---- answers ---- */

static const char *check_beliefs(const rl_answer *answer, size_t elements)
{
    if (isnan(answer->log_evidence) || (answer->bounded && !probability(answer->neglected)))
        return "no number";
    for (size_t i = 0; i < elements; i++) {
        double sum = 0;
        for (int s = 0; s < RL_STATES; s++) {
            if (!probability(answer->belief[i].p[s]))
                return "a belief is no probability";
            sum += answer->belief[i].p[s];
        }
        if (fabs(sum - 1) > 1e-9)
            return "a belief does not sum to 1";
    }
    return NULL;
}

static const char *check_shares(rl_case *c)
{
    const rl_shares *shares;
    if (rl_case_shares(c, &shares) != RL_OK)
        return NULL;
    if (!probability(shares->of_return) || !probability(shares->of_feed) || !probability(shares->of_load) ||
        !probability(shares->none))
        return "a share is no probability";
    return NULL;
}

static const char *check_explanations(rl_case *c)
{
    const rl_explanation *list;
    size_t count;
    if (rl_case_explain(c, MOST_EXPLANATIONS, &list, &count) != RL_OK)
        return NULL;
    double sum = 0;
    for (size_t i = 0; i < count; i++) {
        if (!(list[i].p > 0) || (i > 0 && list[i].p > list[i - 1].p * (1 + 1e-9)))
            return "explanations out of order";
        sum += list[i].p;
    }
    return sum > 1 + 1e-9 ? "explanations over 1" : NULL;
}

static const char *check_tests(rl_case *c)
{
    const rl_test *list;
    size_t count;
    if (rl_case_tests(c, &list, &count) != RL_OK)
        return NULL;
    for (size_t i = 0; i < count; i++) {
        if (!(list[i].bits >= -1e-9) || !(list[i].bits < 64) || !(list[i].minutes >= 0) || isinf(list[i].minutes))
            return "a test is out of range";
        if (list[i].check_minutes > list[i].minutes)
            return "a test's check takes longer than the test";
    }
    return NULL;
}

/* Of what is likeliest to be at fault; of the first element where nothing is suspect. */
static const char *check_why(rl_case *c)
{
    const size_t *list;
    size_t suspects;
    const rl_why *why;
    if (rl_case_suspects(c, &list, &suspects) != RL_OK || rl_case_why(c, suspects > 0 ? list[0] : 0, &why) != RL_OK)
        return NULL;
    if (!probability(why->prior) || !probability(why->posterior))
        return "a suspect has no probability";
    for (size_t i = 0; i < why->count; i++)
        if (isnan(why->weight[i].db))
            return "a finding weighs no number";
    return NULL;
}

static const char *check_proof(rl_case *c, size_t elements)
{
    const rl_proof *proof;
    if (rl_case_proof(c, elements / 2, &proof) != RL_OK)
        return NULL;
    if (!probability(proof->at_fault) || !probability(proof->rest) || !probability(proof->none_else))
        return "a proof has no probability";
    for (size_t i = 0; i < proof->readings; i++)
        if (!(proof->reading[i].bound > 0) || isinf(proof->reading[i].bound) || !(proof->reading[i].current > 0))
            return "a proving reading has no bound";
    return NULL;
}

static const char *check_contradiction(rl_case *c)
{
    const size_t *lines;
    size_t count;
    rl_status status = rl_case_contradiction(c, &lines, &count);
    if (status == RL_OK && count == 0)
        return "a contradiction of nothing";
    return NULL;
}

static const char *check_answers(rl_case *c, const rl_model *model)
{
    const rl_answer *answer;
    switch (rl_case_answer(c, &answer)) {
    case RL_OK:
        break;
    case RL_CONTRADICTION:
        return check_contradiction(c);
    case RL_WIDE:
        return NULL;
    default:
        return "no answer";
    }
    const char *fault = check_beliefs(answer, rl_model_vehicle(model)->elements);
    if (fault == NULL)
        fault = check_shares(c);
    if (fault == NULL)
        fault = check_explanations(c);
    if (fault != NULL || answer->cells > MOST_CELLS)
        return fault;
    fault = check_why(c);
    if (fault == NULL)
        fault = check_proof(c, rl_model_vehicle(model)->elements);
    return fault == NULL ? check_tests(c) : fault;
}

/* ---- text that reads back ---- */

static const char *check_line(rl_case *again, const rl_line *line)
{
    size_t before = rl_case_lines(again);
    if (rl_case_add(again, line->text, strlen(line->text), "again", 1) != RL_OK)
        return "a canonical line is refused";
    if (rl_case_lines(again) != before + 1)
        return "a canonical line is not one line";
    return strcmp(rl_case_line(again, before)->text, line->text) == 0 ? NULL : "a canonical line changes";
}

static const char *check_lines(rl_context *context, const rl_model *model, const rl_case *c)
{
    rl_case *again = NULL;
    if (rl_case_new(context, model, "again", &again) != RL_OK)
        return "no case";
    const char *fault = NULL;
    for (size_t i = 0; fault == NULL && i < rl_case_lines(c); i++)
        fault = check_line(again, rl_case_line(c, i));
    rl_case_free(again);
    return fault;
}

static const char *print(rl_arena *arena, const rl_sink *sink, const char *text, size_t length, size_t *printed)
{
    rl_diag diag;
    rl_diag_init(&diag, arena, sink, 0);
    ast_file *file = rl_parse(arena, &diag, rl_diag_source(&diag, "text", text, length));
    if (diag.errors > 0)
        return NULL;
    rl_text out = {.arena = arena};
    rl_put(&out, "");
    rl_print_file(&out, file);
    *printed = out.length;
    return out.bytes;
}

static void *take_plain(void *user, size_t size) { (void)user; return malloc(size); }
static void give_plain(void *user, void *piece) { (void)user; free(piece); }

/* print(parse(x)) is a fixed point, whatever x means. */
static const char *check_print(const char *text, size_t length)
{
    const rl_allocator plain = {take_plain, give_plain, NULL};
    const rl_sink silent = {NULL, NULL};
    rl_arena arena;
    jmp_buf bail;
    rl_arena_init(&arena, &plain, 0);
    arena.bail = &bail;
    if (setjmp(bail) != 0) {
        rl_arena_free(&arena);
        return "no memory to print";
    }
    const char *fault = NULL;
    size_t first_length = 0, second_length = 0;
    const char *first = print(&arena, &silent, text, length, &first_length);
    if (first != NULL) {
        const char *second = print(&arena, &silent, first, first_length, &second_length);
        if (second == NULL)
            fault = "the canonical text is refused";
        else if (first_length != second_length || memcmp(first, second, first_length) != 0)
            fault = "the canonical text changes";
    }
    rl_arena_free(&arena);
    return fault;
}

/* ---- the two inputs ---- */

static const char *try_model(rl_context *context, const rl_model *model)
{
    if (rl_model_vehicle(model)->elements > MOST_ELEMENTS)
        return NULL;
    rl_case *c = NULL;
    if (rl_case_new(context, model, "fed", &c) != RL_OK)
        return "no case";
    const char *fault = NULL;
    if (rl_case_add(c, "others work", strlen("others work"), "fed", 1) == RL_OK)
        fault = check_answers(c, model);
    rl_case_free(c);
    return fault;
}

const char *feed_rules(const uint8_t *data, size_t size)
{
    held shelf = {0};
    held_put(&shelf, "v.gnd", (const char *)data, size);
    held_put_text(&shelf, "base.gnd", small_base);
    rl_context *context = held_context(&shelf, MEMORY_BOUND);
    if (context == NULL)
        return "no context";
    rl_model *model = NULL;
    rl_status status = rl_model_read(context, "v.gnd", &model);
    const char *fault = NULL;
    if (status == RL_OK && shelf.errors > 0)
        fault = "errors and a model";
    else if (status != RL_OK && (status != RL_INPUT || shelf.errors == 0 || model != NULL))
        fault = "refused without a word";
    else if (status == RL_OK)
        fault = try_model(context, model);
    rl_model_free(model);
    rl_context_free(context);
    if (fault == NULL && shelf.out != 0)
        fault = "memory was not given back";
    return fault == NULL ? check_print((const char *)data, size) : fault;
}

static bool is_large(const rl_case *c)
{
    size_t lines = rl_case_lines(c);
    return lines > MOST_LINES || (lines > 0 && rl_case_line(c, lines - 1)->occasion >= MOST_OCCASIONS);
}

static const char *try_book(rl_context *context, const rl_model *model)
{
    rl_book *book = NULL;
    (void)rl_book_read(context, model, "v.case", &book);
    if (book == NULL)
        return NULL;
    const char *fault = NULL;
    for (size_t i = 0; fault == NULL && i < rl_book_count(book); i++) {
        rl_case *c = rl_book_case(book, i);
        if (is_large(c))
            continue;
        fault = check_lines(context, model, c);
        if (fault == NULL)
            fault = check_answers(c, model);
    }
    rl_book_free(book);
    return fault;
}

const char *feed_case(const uint8_t *data, size_t size)
{
    held shelf = {0};
    held_put_text(&shelf, "v.gnd", small_vehicle);
    held_put_text(&shelf, "base.gnd", small_base);
    held_put(&shelf, "v.case", (const char *)data, size);
    rl_context *context = held_context(&shelf, MEMORY_BOUND);
    if (context == NULL)
        return "no context";
    rl_model *model = held_model(&shelf, context);
    const char *fault = try_book(context, model);
    rl_model_free(model);
    rl_context_free(context);
    if (fault == NULL && shelf.out != 0)
        fault = "memory was not given back";
    return fault;
}

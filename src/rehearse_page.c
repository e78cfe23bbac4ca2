/* rehearse_page.c: what a rehearsal came to, in words, bars and JSON.
 *
 * Invariant: page and JSON say the same sums; a play is counted in one row of the
 * histogram for each strategy.
 */
#include "rehearse_page.h"

#include "json.h"
#include "status.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

/* TABLE_WIDTH: columns of the table, which is folded where they are not there; so is the histogram. */
enum { HISTOGRAM_ROWS = 12, BAR_CELLS = 12, TABLE_WIDTH = 75, NAME = 10 };

/* ---- sums ---- */

static void add_strategy(strategy_sum *sum, const rl_played *played, size_t count, rl_strategy s)
{
    double *tests = tool_take(count * sizeof *tests);
    *sum = (strategy_sum){ .name = rl_strategy_text(s), .minute = tool_take(count * sizeof *sum->minute) };
    for (size_t i = 0; i < count; i++) {
        tests[i] = (double)played[i].of[s].tests;
        sum->minute[i] = played[i].of[s].minutes;
        sum->wrong += played[i].of[s].wrong;
    }
    sum->tests = tally_of(tests, count);
    sum->minutes = tally_of(sum->minute, count);
    free(tests);
}

void rehearsal_add_up(rehearsal_sum *sum, const rl_played *played, size_t count, double most_bits)
{
    assert(count > 0);
    *sum = (rehearsal_sum){ .cases = count, .most_bits = most_bits };
    for (size_t i = 0; i < count; i++) {
        sum->entropy_bits += played[i].bits / (double)count;
        sum->passed_over += played[i].passed_over;
    }
    for (int s = 0; s < RL_STRATEGIES; s++)
        add_strategy(&sum->of[s], played, count, (rl_strategy)s);
}

void rehearsal_sum_free(rehearsal_sum *sum)
{
    for (int s = 0; s < RL_STRATEGIES; s++)
        free(sum->of[s].minute);
}

/* ---- the rule ---- */

static void add_rule(text *out, const rehearsal *r)
{
    text_add(out, "A play ends when a repair cures: the element was at fault, and what the driver complains of depends "
                  "on it. A suspect at fault with more than %.15g is mended at once; after %zu tests nothing but "
                  "repairs is left.", r->rule.above, r->rule.most_tests);
}

/* ---- the page ---- */

static void say(const screen *sc, const text *line)
{
    term_wrap(sc, "", 0, text_get(line));
    fputc('\n', sc->out);
}

static void print_head(const screen *sc, const rehearsal *r, const rehearsal_sum *sum)
{
    text line = { 0 };
    text_add(&line, "Rehearsal: ");
    term_safe(&line, rl_model_vehicle(r->model)->label);
    text_add(&line, ", %zu drawn fault%s, seed %zu", sum->cases, sum->cases == 1 ? "" : "s", r->seed);
    term_heading(sc, text_get(&line));
    text_clear(&line);
    add_rule(&line, r);
    say(sc, &line);
    text_free(&line);
}

static const char *explained(rl_strategy s)
{
    switch (s) {
    case RL_ADVICE: return "test or repair as the tool advises";
    case RL_WALK: return "each ground point, cheapest access first, then repairs";
    case RL_LIKELIEST: return "no test: repairs in the order of probability";
    }
    return "";
}

static void print_tally(const screen *sc, const char *what, const tally *t)
{
    text line = { 0 };
    text_add(&line, "mean %.1f, median %.1f, 90%% %.0f", t->mean, t->median, t->p90);
    term_wrap(sc, what, term_cells(what), text_get(&line));
    text_free(&line);
}

/* One strategy below the other. */
static void print_folded(const screen *sc, const rehearsal_sum *sum)
{
    for (int s = 0; s < RL_STRATEGIES; s++) {
        const strategy_sum *of = &sum->of[s];
        text line = { 0 };
        text_add(&line, "%s: %s", of->name, explained((rl_strategy)s));
        term_wrap(sc, "", 0, text_get(&line));
        print_tally(sc, "  tests    ", &of->tests);
        print_tally(sc, "  minutes  ", &of->minutes);
        text_clear(&line);
        text_add(&line, "%zu repair%s in vain", of->wrong, of->wrong == 1 ? "" : "s");
        term_wrap(sc, "  ", 2, text_get(&line));
        text_free(&line);
    }
    fputc('\n', sc->out);
}

static void print_table(const screen *sc, const rehearsal_sum *sum)
{
    fprintf(sc->out, "               -------- tests --------   ------- minutes -------   repairs\n"
                     "strategy          mean  median    90%%        mean  median    90%%    in vain\n");
    for (int s = 0; s < RL_STRATEGIES; s++) {
        const strategy_sum *of = &sum->of[s];
        fprintf(sc->out, "%-12s %9.1f %7.1f %6.0f   %9.1f %7.1f %6.1f %10zu\n", of->name, of->tests.mean,
                of->tests.median, of->tests.p90, of->minutes.mean, of->minutes.median, of->minutes.p90, of->wrong);
    }
    for (int s = 0; s < RL_STRATEGIES; s++)
        fprintf(sc->out, "  %-10s %s\n", sum->of[s].name, explained((rl_strategy)s));
    fputc('\n', sc->out);
}

/* Reaches the 90 % of the slowest strategy; what lies beyond has the last row. */
static double bin_of(const rehearsal_sum *sum)
{
    double most = 1;
    for (int s = 0; s < RL_STRATEGIES; s++)
        most = fmax(most, sum->of[s].minutes.p90);
    return tally_bin(most, HISTOGRAM_ROWS - 1);
}

/* Each strategy beside the other, or on a line of its own. */
static void print_row(const screen *sc, const rehearsal_sum *sum, double low, double high, bool folded)
{
    text row = { 0 };
    size_t rest = NAME + 2 + 6;   /* columns of a folded line that are no bar */
    size_t cells = folded && sc->width < rest + BAR_CELLS ? sc->width - rest : BAR_CELLS;
    if (isfinite(high))
        text_add(&row, "%5.0f to %5.0f ", low, high);
    else
        text_add(&row, "%5.0f or more  ", low);
    for (int s = 0; s < RL_STRATEGIES; s++) {
        double share = (double)tally_within(sum->of[s].minute, sum->cases, low, high) / (double)sum->cases;
        if (folded)
            text_add(&row, "\n  %-*s", NAME, sum->of[s].name);
        else
            text_add(&row, "  ");
        term_bar(sc, &row, share, cells);
        text_add(&row, " %4.0f%%", 100 * share);
    }
    fprintf(sc->out, "%s\n", text_get(&row));
    text_free(&row);
}

static bool some_from(const rehearsal_sum *sum, double low)
{
    for (int s = 0; s < RL_STRATEGIES; s++)
        if (sum->of[s].minute[sum->cases - 1] >= low)
            return true;
    return false;
}

static void print_names(const screen *sc, const rehearsal_sum *sum)
{
    fprintf(sc->out, "%14s", "");
    for (int s = 0; s < RL_STRATEGIES; s++)
        fprintf(sc->out, "  %-*s", s + 1 < RL_STRATEGIES ? BAR_CELLS + 6 : 0, sum->of[s].name);
    fputc('\n', sc->out);
}

static void print_histogram(const screen *sc, const rehearsal_sum *sum)
{
    double bin = bin_of(sum);
    bool folded = sc->width < TABLE_WIDTH;
    term_heading(sc, "Share of the faults by minutes to the cure");
    if (!folded)
        print_names(sc, sum);
    for (int i = 0; i < HISTOGRAM_ROWS && (i == 0 || some_from(sum, i * bin)); i++)
        print_row(sc, sum, i * bin, i + 1 < HISTOGRAM_ROWS ? (i + 1) * bin : INFINITY, folded);
    fputc('\n', sc->out);
}

static void print_bound(const screen *sc, const rehearsal_sum *sum)
{
    text line = { 0 };
    text_add(&line, "Which fault it is has an entropy of %.2f bits once the complaint is known. A test of these rules "
                    "tells at most %.2f bits: with tests and repairs counted together, the last repair too, no way "
                    "of looking for it needs fewer than %.1f on average.",
             sum->entropy_bits, sum->most_bits, sum->entropy_bits / sum->most_bits);
    term_wrap(sc, "", 0, text_get(&line));
    if (sum->passed_over > 0) {
        text_clear(&line);
        text_add(&line, "%zu more vehicles were drawn and passed over: what was complained of there depends on no "
                        "element at fault.", sum->passed_over);
        term_wrap(sc, "", 0, text_get(&line));
    }
    text_free(&line);
}

void rehearsal_page(const screen *sc, const rehearsal *r, const rehearsal_sum *sum)
{
    print_head(sc, r, sum);
    if (sc->width < TABLE_WIDTH)
        print_folded(sc, sum);
    else
        print_table(sc, sum);
    print_histogram(sc, sum);
    print_bound(sc, sum);
}

/* ---- JSON ---- */

static json_t *tally_json(const tally *t)
{
    return json_pack("{s:f,s:f,s:f}", "mean", t->mean, "median", t->median, "p90", t->p90);
}

/* NULL: no memory. */
static json_t *strategies_json(const rehearsal_sum *sum)
{
    json_t *list = json_array();
    bool whole = list != NULL;
    for (int s = 0; whole && s < RL_STRATEGIES; s++) {
        const strategy_sum *of = &sum->of[s];
        json_t *one = json_pack("{s:s,s:o,s:o,s:I}", "name", of->name, "tests", tally_json(&of->tests), "minutes",
                                tally_json(&of->minutes), "wrong", (json_int_t)of->wrong);
        whole = json_array_append_new(list, one) == 0;
    }
    if (!whole) {
        json_decref(list);
        return NULL;
    }
    return list;
}

void rehearsal_json(FILE *out, const rehearsal *r, const rehearsal_sum *sum)
{
    text rule = { 0 };
    add_rule(&rule, r);
    json_t *object = json_pack("{s:I,s:s,s:o,s:f}", "cases", (json_int_t)sum->cases, "rule", text_get(&rule),
                               "strategies", strategies_json(sum), "entropy_bits", sum->entropy_bits);
    text_free(&rule);
    if (object == NULL) {
        fputs("ringlug: out of memory\n", stderr);
        exit(TOOL_MACHINE);
    }
    json_print(out, object);
}

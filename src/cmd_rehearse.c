/* cmd_rehearse.c: `ringlug rehearse RULES`.  Invariant: what is printed does not depend on
 * the number of threads; progress is shown on a terminal only. */
#include "commands.h"

#include "options.h"
#include "rehearse.h"
#include "rehearse_page.h"
#include "report.h"
#include "session.h"
#include "status.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct rehearse_options {
    bool json, plain;
    size_t faults, seed, most_tests, threads, memory;
    const char *above;
} rehearse_options;

static const char help[] =
    "usage: ringlug rehearse RULES [OPTIONS]\n"
    "\n"
    "Draws vehicles with faults from the rules and looks for the fault of each: as\n"
    "the tool advises, by a walk round all ground points, and by repairs in the\n"
    "order of probability. Says how many tests and minutes each way takes until\n"
    "the repair cures, beside the least that the entropy of the fault allows.\n"
    "\n"
    "  --faults N      how many (100)\n"
    "  --seed S        other seeds draw other vehicles; the same on every machine (1)\n"
    "  --above P       a suspect at fault with more than this is mended (0.9)\n"
    "  --most-tests M  tests of one fault; then repairs alone (40)\n"
    "  --threads N     threads to play on (all processors); the result is the same\n"
    "  --json          one JSON object\n"
    "  --memory MIB    memory for exact answers, of each thread (1024)\n"
    "  --no-color      no colour, even on a terminal\n"
    "  --help          this text\n"
    "\n"
    "Exit status: 0 done, 1 the rules are at fault or nothing can be complained\n"
    "of, 2 wrong usage, 3 the machine failed.\n";

/* ---- progress ---- */

typedef struct progress {
    screen screen;
    size_t columns;         /* 0: standard error is no terminal */
    size_t faults, shown;
} progress;

static void show_progress(void *user, size_t plays)
{
    progress *p = user;
    size_t hundredths = 100 * plays / p->faults;
    if (p->columns == 0 || hundredths == p->shown)
        return;
    text line = { 0 };
    p->shown = hundredths;
    term_bar(&p->screen, &line, (double)plays / (double)p->faults, p->columns > 60 ? 40 : 10);
    fprintf(stderr, "\r%s %zu of %zu", text_get(&line), plays, p->faults);
    fflush(stderr);
    text_free(&line);
}

static void clear_progress(const progress *p)
{
    if (p->columns > 0 && p->shown > 0)
        fprintf(stderr, "\r%*s\r", (int)p->columns - 1, "");
}

/* ---- the options ---- */

/* A number or a percentage above 0, 1 at most. */
static bool read_share(const char *word, double *out)
{
    char *end;
    *out = strtod(word, &end);
    if (end != word && strcmp(end, "%") == 0)
        *out /= 100;
    else if (end == word || *end != '\0')
        return false;
    return isfinite(*out) && *out > 0 && *out <= 1;
}

static int wrong_share(const char *word)
{
    text safe = { 0 };
    term_safe(&safe, word);
    report_say("ringlug rehearse: `--above` takes a probability above 0, as 0.9 or 90%%, not `%s` "
               "(see: ringlug rehearse --help)", text_get(&safe));
    text_free(&safe);
    return TOOL_USAGE;
}

/* ---- the command ---- */

/* Whether there is anything to rehearse at all; if not it is said, once. */
static int try_one(const session *s, const rehearsal *r, double *most_bits)
{
    rl_rehearsal *with;
    rl_drawn *drawn = NULL;
    rl_status status = rl_rehearsal_new(s->context, s->model, &r->rule, r->seed, &with);
    if (status == RL_OK)
        status = rl_drawn_new(s->context, s->model, r->seed, 0, &drawn);
    if (status == RL_OK)
        *most_bits = rl_rehearsal_most_bits(with);
    rl_drawn_free(drawn);
    rl_rehearsal_free(with);
    return session_status(status);
}

static int rehearse_and_print(const session *s, rehearsal *r, const rehearse_options *o)
{
    progress p = { .screen = term_screen(stderr, o->plain), .columns = term_columns(stderr), .faults = r->faults };
    double most_bits = 0;
    int result = try_one(s, r, &most_bits);
    if (result != TOOL_DONE)
        return result;
    r->done = show_progress;
    r->user = &p;
    rl_played *played = tool_take(r->faults * sizeof *played);
    rl_status status = rehearse(r, played);
    clear_progress(&p);
    if (status == RL_MISSING)
        report_say("ringlug rehearse: vehicle after vehicle was drawn, and what is complained of depends on no element "
                   "at fault: there is nothing to look for");
    else if (status == RL_CONTRADICTION || status == RL_INPUT)   /* of what the rules themselves brought */
        report_say("ringlug rehearse: a play came to no end: %s", rl_status_text(status));
    result = session_status(status);
    if (status == RL_OK) {
        rehearsal_sum sum;
        screen sc = term_screen(stdout, o->plain);
        rehearsal_add_up(&sum, played, r->faults, most_bits);
        if (o->json)
            rehearsal_json(stdout, r, &sum);
        else
            rehearsal_page(&sc, r, &sum);
        rehearsal_sum_free(&sum);
    }
    free(played);
    return result;
}

int cmd_rehearse(int argc, char **argv)
{
    rehearse_options o = { .faults = 100, .seed = 1, .most_tests = 40, .above = "0.9" };
    const option_spec option[] = {
        { .name = "--faults", .count = &o.faults, .least = 1, .most = 10000000 },
        { .name = "--seed", .count = &o.seed, .most = SIZE_MAX },
        { .name = "--above", .word = &o.above },
        { .name = "--most-tests", .count = &o.most_tests, .most = 1000000 },
        { .name = "--threads", .count = &o.threads, .least = 1, .most = 1024 },
        { .name = "--memory", .count = &o.memory, .least = 1, .most = 1 << 20 },
        { .name = "--json", .flag = &o.json },
        { .name = "--no-color", .flag = &o.plain },
    };
    static const char *const operand[] = { "RULES" };
    const usage u = { "rehearse", help, option, sizeof option / sizeof *option, 1, 1, operand };
    rehearsal r = { .model = NULL };
    int operands, status = options_read(&u, argc, argv, &operands);
    if (status >= 0)
        return status;
    if (!read_share(o.above, &r.rule.above))
        return wrong_share(o.above);
    session s;
    status = session_open(&s, argv[0], o.memory);
    r.model = s.model;
    r.rule.most_tests = o.most_tests;
    r.seed = o.seed;
    r.faults = o.faults;
    r.memory_mib = o.memory;
    size_t processors = rehearse_processors();
    r.threads = o.threads == 0 || o.threads > processors ? processors : o.threads;
    if (s.model != NULL)
        status = rehearse_and_print(&s, &r, &o);
    session_close(&s);
    return status;
}

/* cmd_simulate.c: `ringlug simulate RULES`.  Invariant: case N of a seed is the
 * same whatever the number of cases, and on every machine. */
#include "commands.h"

#include "casefile.h"
#include "json.h"
#include "options.h"
#include "report.h"
#include "session.h"
#include "status.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct simulate_options {
    bool json;
    size_t cases, seed, first, occasions, findings;
} simulate_options;

static const char help[] =
    "usage: ringlug simulate RULES [OPTIONS]\n"
    "\n"
    "Draws cases from the rules themselves: faults from the priors, given that\n"
    "the driver complains of something, and findings from what the rules say of\n"
    "such faults. Printed as a case file, with what was at fault as `found only`.\n"
    "\n"
    "  --cases N       how many (10)\n"
    "  --seed S        other seeds draw other cases; the same on every machine (1)\n"
    "  --first N       number of the first case (1)\n"
    "  --occasions K   occasions in each case, 1 to 8 (1)\n"
    "  --findings M    looks, readings and the like in each case (3)\n"
    "  --json          one JSON object for each case, each on a line\n"
    "  --help          this text\n"
    "\n"
    "Exit status: 0 done, 1 the rules are at fault or nothing can be complained\n"
    "of, 2 wrong usage, 3 the machine failed.\n";

/* ---- one case ---- */

static int print_text(const session *s, const simulate_options *o, bool first, rl_case *c)
{
    text out = { 0 };
    if (first)
        text_add(&out, "language 1\n# Cases of %s drawn from its rules, seed %zu: not observed on any vehicle.\n",
                 rl_model_vehicle(s->model)->id, o->seed);
    text_add(&out, "\n");
    casefile_whole(&out, s->model, c);
    fputs(text_get(&out), stdout);
    text_free(&out);
    return TOOL_DONE;
}

/* What was drawn, as `found` says it; NULL: no memory. */
static json_t *found_list(const session *s, rl_drawn *drawn)
{
    const rl_fault *fault;
    size_t count;
    json_t *list = json_array();
    bool whole = list != NULL && rl_drawn_faults(drawn, &fault, &count) == RL_OK;
    for (size_t i = 0; whole && i < count; i++) {
        const char *id = rl_model_element(s->model, fault[i].element)->id;
        json_t *one = json_pack("{s:s,s:s}", "id", id, "state", rl_state_text(fault[i].state));
        whole = json_array_append_new(list, one) == 0;
    }
    if (!whole) {
        json_decref(list);
        return NULL;
    }
    return list;
}

/* All lines but `found`; NULL: no memory. */
static json_t *line_list(rl_case *c)
{
    json_t *list = json_array();
    bool whole = list != NULL;
    for (size_t i = 0; whole && i < rl_case_lines(c); i++) {
        const rl_line *line = rl_case_line(c, i);
        if (line->sort != RL_LINE_FOUND)
            whole = json_array_append_new(list, json_words(line->text)) == 0;
    }
    if (!whole) {
        json_decref(list);
        return NULL;
    }
    return list;
}

static int print_json(const session *s, rl_drawn *drawn, rl_case *c)
{
    json_t *object = json_pack("{s:o,s:o,s:o}", "case", json_words(rl_case_name(c)), "found", found_list(s, drawn),
                               "findings", line_list(c));
    if (object == NULL)
        return session_status(RL_MEMORY);
    json_print(stdout, object);
    return TOOL_DONE;
}

static int print_case(const session *s, const simulate_options *o, size_t number)
{
    rl_drawn *drawn;
    rl_case *c = NULL;
    text name = { 0 };
    text_add(&name, "%zu-%zu", o->seed, number);
    rl_status status = rl_drawn_new(s->context, s->model, o->seed, number, &drawn);
    if (status == RL_OK)
        status = rl_case_new(s->context, s->model, text_get(&name), &c);
    if (status == RL_OK)
        status = rl_drawn_case(drawn, c, o->occasions, o->findings);
    int result = session_status(status);
    if (status == RL_OK)
        result = o->json ? print_json(s, drawn, c) : print_text(s, o, number == o->first, c);
    rl_case_free(c);
    rl_drawn_free(drawn);
    text_free(&name);
    return result;
}

/* ---- all of them ---- */

static int print_all(const session *s, const simulate_options *o)
{
    int status = TOOL_DONE;
    for (size_t i = 0; i < o->cases && status == TOOL_DONE && !ferror(stdout); i++)
        status = print_case(s, o, o->first + i);
    return status;
}

int cmd_simulate(int argc, char **argv)
{
    simulate_options o = { .cases = 10, .seed = 1, .first = 1, .occasions = 1, .findings = 3 };
    const option_spec option[] = {
        { .name = "--json", .flag = &o.json },
        { .name = "--cases", .count = &o.cases, .least = 1, .most = 10000000 },
        { .name = "--seed", .count = &o.seed, .most = SIZE_MAX },
        { .name = "--first", .count = &o.first, .most = SIZE_MAX / 2 },
        { .name = "--occasions", .count = &o.occasions, .least = 1, .most = 8 },
        { .name = "--findings", .count = &o.findings, .most = 1000 },
    };
    static const char *const operand[] = { "RULES" };
    const usage u = { "simulate", help, option, sizeof option / sizeof *option, 1, 1, operand };
    int operands, status = options_read(&u, argc, argv, &operands);
    if (status >= 0)
        return status;
    session s;
    status = session_open(&s, argv[0], 0);
    if (s.model != NULL)
        status = status_worse(status, print_all(&s, &o));
    session_close(&s);
    return status;
}

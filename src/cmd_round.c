/* cmd_round.c: `ringlug round RULES --minutes M`: a round before trouble, as a list to print.
 *
 * Invariant: the cautions of a stop stand before what is to be done there.
 */
#include "commands.h"

#include "cautions.h"
#include "complain.h"
#include "json.h"
#include "options.h"
#include "session.h"
#include "status.h"
#include "term.h"
#include "words.h"

#include <math.h>

typedef struct round_options {
    bool json, plain;
    size_t minutes;
} round_options;

static const char help[] =
    "usage: ringlug round RULES [--minutes M] [OPTIONS]\n"
    "\n"
    "A round before trouble: the voltage drops under load and the looks that show\n"
    "most return faults within so many minutes, in order of access, each with its\n"
    "cautions, what a healthy span reads, the customary limit and what it covers.\n"
    "\n"
    "  --minutes M        minutes that the round may take (30)\n"
    "  --json             one JSON object\n"
    "  --no-color         no colour, even on a terminal\n"
    "  --help             this text\n"
    "\n"
    "Exit status: 0 done, 1 the rules are at fault or nothing of them can be\n"
    "complained of, 2 wrong usage, 3 the machine failed.\n";

static double share_of(double part, double whole)
{
    return whole > 0 ? part / whole : 0;
}

/* ---- JSON ---- */

static json_t *stop_object(const rl_model *model, const rl_stop *stop)
{
    json_t *covers = json_array(), *opens = json_array(), *said = json_array();
    text_list cautions = { 0 };
    cautions_of_test(&cautions, model, &stop->test);
    for (size_t i = 0; i < stop->count; i++)
        json_array_append_new(covers, json_words(rl_model_element(model, stop->covers[i])->id));
    for (size_t i = 0; i < 2; i++)
        if (stop->test.areas[i] >= 0)
            json_array_append_new(opens, json_words(rl_model_area(model, (size_t)stop->test.areas[i])->id));
    for (size_t i = 0; i < cautions.count; i++)
        json_array_append_new(said, json_words(cautions.item[i]));
    list_free(&cautions);
    json_t *object = json_pack("{s:o,s:o,s:o,s:o,s:o,s:o}", "test", json_words(stop->test.text), "minutes",
                               json_number_of(stop->test.minutes), "opens", opens, "covers", covers, "gain",
                               json_number_of(stop->gain), "cautions", said);
    if (stop->test.sort == RL_TEST_DROP) {
        json_object_set_new(object, "healthy", json_pack("{s:o,s:o}", "low", json_number_of(stop->test.healthy_low), "high",
                                                         json_number_of(stop->test.healthy_high)));
        json_object_set_new(object, "limit", json_number_of(stop->test.limit));
    }
    return object;
}

static void print_json(FILE *out, const rl_model *model, const rl_round_report *r)
{
    json_t *stops = json_array();
    for (size_t i = 0; i < r->stops; i++)
        json_array_append_new(stops, stop_object(model, &r->stop[i]));
    json_print(out, json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "vehicle", json_words(rl_model_vehicle(model)->id),
                              "minutes", json_number_of(r->minutes), "share", json_number_of(share_of(r->covered, r->all)), "covered",
                              json_number_of(r->covered), "all", json_number_of(r->all), "reachable", json_number_of(r->reachable), "stops",
                              stops));
}

/* ---- the page ---- */

typedef struct round_page {
    const screen *sc;
    const rl_model *model;
    const rl_round_report *r;
} round_page;

static void say(const round_page *p, const char *first, size_t indent, text *said)
{
    term_wrap(p->sc, first, indent, text_get(said));
    text_clear(said);
}

static void say_summary(const round_page *p, size_t minutes)
{
    const rl_round_report *r = p->r;
    text said = { 0 };
    text_add(&said, "Round before trouble: ");
    term_safe(&said, rl_model_vehicle(p->model)->label);
    term_heading(p->sc, text_get(&said));
    text_clear(&said);
    if (r->stops == 0) {
        text_add(&said, "Within %zu min no drop and no inspection of these rules shows a return fault.", minutes);
    } else {
        text_add(&said, "%zu stop%s, ", r->stops, r->stops == 1 ? "" : "s");
        words_minutes(&said, r->minutes);
        text_add(&said, ". Of the faults to be expected in ground points, splices, connectors and wires they show ");
        words_percent(&said, share_of(r->covered, r->all));
        text_add(&said, "; every drop and inspection that there is would show ");
        words_percent(&said, share_of(r->reachable, r->all));
        text_add(&said, ".");
    }
    say(p, "", 0, &said);
    text_add(&said, "%s", cautions_always);
    say(p, "Caution: ", 9, &said);
    text_free(&said);
}

static void say_openings(const round_page *p, const rl_test *test)
{
    text said = { 0 };
    for (size_t i = 0; i < 2; i++) {
        if (test->areas[i] < 0)
            continue;
        const rl_area *area = rl_model_area(p->model, (size_t)test->areas[i]);
        fputc('\n', p->sc->out);
        text_add(&said, "Open: ");
        term_safe(&said, area->label);
        text_add(&said, ", ");
        words_minutes(&said, area->access);
        term_heading(p->sc, text_get(&said));
        text_clear(&said);
    }
    text_free(&said);
}

static void say_covers(const round_page *p, const rl_stop *stop)
{
    text said = { 0 };
    for (size_t i = 0; i < stop->count; i++) {
        text_add(&said, "%s", i > 0 ? ", " : "");
        words_name(&said, p->model, stop->covers[i]);
    }
    if (stop->count > 0)
        say(p, "      Shows: ", 13, &said);
    text_free(&said);
}

static void say_stop(const round_page *p, size_t index)
{
    const rl_stop *stop = &p->r->stop[index];
    text said = { 0 }, first = { 0 };
    text_list cautions = { 0 };
    say_openings(p, &stop->test);
    text_add(&first, "%4zu  ", index + 1);
    term_safe(&said, stop->test.text);
    text_add(&said, ", ");
    words_minutes(&said, stop->test.check_minutes);
    say(p, text_get(&first), 6, &said);
    cautions_of_test(&cautions, p->model, &stop->test);
    for (size_t i = 0; i < cautions.count; i++) {
        term_safe(&said, cautions.item[i]);
        say(p, "      Caution: ", 15, &said);
    }
    words_how(&said, p->model, &stop->test);
    say(p, "      ", 6, &said);
    words_outcomes(&said, p->model, &stop->test);
    say(p, "      ", 6, &said);
    say_covers(p, stop);
    term_wrap(p->sc, "      Found: ", 13, "____________");
    list_free(&cautions);
    text_free(&said);
    text_free(&first);
}

static int round_of_rules(const session *s, const round_options *o)
{
    rl_round *made;
    rl_status status = complain_can(s);
    if (status == RL_OK)
        status = rl_round_new(s->context, s->model, (double)o->minutes, &made);
    if (status != RL_OK)
        return session_status(status);
    screen sc = term_screen(stdout, o->plain);
    round_page p = { &sc, s->model, rl_round_get(made) };
    if (o->json) {
        print_json(stdout, s->model, p.r);
    } else {
        say_summary(&p, o->minutes);
        for (size_t i = 0; i < p.r->stops; i++)
            say_stop(&p, i);
    }
    rl_round_free(made);
    return TOOL_DONE;
}

int cmd_round(int argc, char **argv)
{
    round_options o = { .minutes = 30 };
    const option_spec option[] = {
        { .name = "--minutes", .count = &o.minutes, .most = 100000 },
        { .name = "--json", .flag = &o.json },
        { .name = "--no-color", .flag = &o.plain },
    };
    static const char *const operand[] = { "RULES" };
    const usage u = { "round", help, option, sizeof option / sizeof *option, 1, 1, operand };
    int operands, status = options_read(&u, argc, argv, &operands);
    if (status >= 0)
        return status;
    session s;
    status = session_open(&s, argv[0], 0);
    if (s.model != NULL)
        status = status_worse(status, round_of_rules(&s, &o));
    session_close(&s);
    return status;
}

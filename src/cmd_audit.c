/* cmd_audit.c: `ringlug audit RULES`.  Invariant: the page and the JSON object
 * say the same; the page says of each list only its first entries. */
#include "commands.h"

#include "complain.h"
#include "json.h"
#include "options.h"
#include "session.h"
#include "status.h"
#include "term.h"
#include "words.h"
#include "words_audit.h"

#include <math.h>
#include <string.h>

typedef struct audit_options {
    bool json, plain;
    size_t draws, seed, groups, memory;
} audit_options;

static const char help[] =
    "usage: ringlug audit RULES [OPTIONS]\n"
    "\n"
    "How good the rules are: faults that they cannot tell apart, by looking alone\n"
    "or by any test, and what would; what no load reveals; numbers that are\n"
    "missing; rows that contradict physics; returns that hide each other; and how\n"
    "much all tests that need nothing opened leave unknown.\n"
    "\n"
    "  --json             one JSON object\n"
    "  --groups K         entries of each list on the page (8; 0: all)\n"
    "  --draws N          vehicles drawn for what tests leave (400)\n"
    "  --seed S           the same vehicles for the same number (1)\n"
    "  --memory MIB       memory for exact answers (1024)\n"
    "  --no-color         no colour, even on a terminal\n"
    "  --help             this text\n"
    "\n"
    "Exit status: 0 done, whatever was found, 1 the rules are at fault or nothing\n"
    "of them can be complained of, 2 wrong usage, 3 the machine failed.\n";

/* ---- JSON ---- */

static json_t *id_of(const rl_model *model, size_t element)
{
    return json_words(rl_model_element(model, element)->id);
}

static json_t *place(const char *path, size_t line, json_t *object)
{
    json_object_set_new(object, "file", json_words(path));
    json_object_set_new(object, "line", json_integer((json_int_t)line));
    return object;
}

/* A sound vehicle has no id. */
static json_t *fault_object(const rl_model *model, const rl_alike *g, size_t index)
{
    if (index == g->count)
        return json_pack("{s:s}", "state", rl_state_text(RL_SOUND));
    return json_pack("{s:o,s:s}", "id", id_of(model, g->faults[index].element), "state",
                     rl_state_text(g->faults[index].state));
}

static json_t *steps_array(const rl_model *model, const rl_alike *g)
{
    json_t *steps = json_array();
    for (size_t i = 0; i < g->tellers; i++) {
        text told = { 0 };
        json_t *classes = json_array();
        words_told(&told, model, g, i, 0);
        for (size_t k = 0; k < g->count + g->as_sound; k++)
            json_array_append_new(classes, json_integer((json_int_t)g->teller[i].part[k]));
        json_array_append_new(steps, json_pack("{s:o,s:o,s:o,s:o}", "test", json_words(g->teller[i].test), "minutes",
                                               json_number_of(g->teller[i].minutes), "tells",
                                               json_words(text_get(&told)), "classes", classes));
        text_free(&told);
    }
    return steps;
}

static json_t *together_array(const rl_model *model, const rl_alike *g)
{
    json_t *pairs = json_array();
    for (size_t i = 0; i < g->pairs; i++) {
        text lacked = { 0 };
        words_lacked(&lacked, model, g, i);
        json_array_append_new(pairs, json_pack("{s:[o,o],s:o}", "faults", fault_object(model, g, g->pair[i].first),
                                               fault_object(model, g, g->pair[i].second), "lacks",
                                               json_words(text_get(&lacked))));
        text_free(&lacked);
    }
    return pairs;
}

static json_t *alike_object(const rl_model *model, const rl_alike *g)
{
    json_t *elements = json_array(), *faults = json_array();
    text why = { 0 };
    words_separated(&why, model, g, 0);
    for (size_t i = 0; i < g->count; i++) {
        if (i == 0 || g->faults[i].element != g->faults[i - 1].element)
            json_array_append_new(elements, id_of(model, g->faults[i].element));
        json_array_append_new(faults, fault_object(model, g, i));
    }
    json_t *object = json_pack("{s:s,s:o,s:o,s:o,s:b,s:o,s:o,s:o}", "by", g->by_all ? "all" : "looks", "elements", elements,
                               "separated_by", json_words(text_get(&why)), "faults", faults, "as_sound",
                               (int)g->as_sound, "p", json_number_of(g->p), "steps", steps_array(model, g), "together",
                               together_array(model, g));
    if (g->apart > 0)
        json_object_set_new(object, "apart", json_number_of(g->apart));
    if (g->test != NULL) {
        json_object_set_new(object, "test", json_words(g->test));
        json_object_set_new(object, "minutes", json_number_of(g->minutes));
    }
    text_free(&why);
    return object;
}

static json_t *row_object(const rl_model *model, const rl_row_problem *p)
{
    text said = { 0 };
    words_row_problem(&said, model, p);
    json_t *object = json_pack("{s:o,s:o,s:o,s:o,s:o}", "kind", json_words(rl_model_kind(model, p->kind)->id), "row",
                               json_words(p->row), "problem", json_words(text_get(&said)), "p", json_number_of(p->p),
                               "other", json_number_of(p->other));
    if (p->than != NULL)
        json_object_set_new(object, "than", json_words(p->than));
    if (p->load >= 0)
        json_object_set_new(object, "load", id_of(model, (size_t)p->load));
    text_free(&said);
    return place(p->path, p->line, object);
}

static json_t *gap_object(const rl_model *model, const rl_gap *gap)
{
    rl_untouched at = rl_model_flag(model, gap->element);
    static const char *const what[] = { "draws for short of", "draws for readings", "by" };
    json_t *object = json_pack("{s:o,s:s}", "id", id_of(model, gap->element), "what", what[gap->sort]);
    if (gap->parent >= 0)
        json_object_set_new(object, "to", id_of(model, (size_t)gap->parent));
    return place(at.path, at.line, object);
}

static json_t *cover_object(const rl_model *model, const rl_cover *cover)
{
    rl_untouched at = rl_model_flag(model, cover->element);
    text said = { 0 };
    words_cover(&said, model, cover);
    json_t *object = json_pack("{s:o,s:I,s:I,s:b,s:o}", "id", id_of(model, cover->element), "way",
                               (json_int_t)cover->which, "beside", (json_int_t)cover->beside, "always",
                               (int)cover->always, "problem", json_words(text_get(&said)));
    text_free(&said);
    return place(at.path, at.line, object);
}

static void print_json(FILE *out, const rl_model *model, const rl_audit_report *r)
{
    json_t *alike = json_array(), *unseen = json_array(), *rows = json_array(), *missing = json_array();
    json_t *covers = json_array(), *close = json_array();
    for (size_t i = 0; i < r->alikes; i++)
        json_array_append_new(r->alike[i].apart > 0 ? close : alike, alike_object(model, &r->alike[i]));
    for (size_t i = 0; i < r->unseens; i++)
        json_array_append_new(unseen, id_of(model, r->unseen[i]));
    for (size_t i = 0; i < r->problems; i++)
        json_array_append_new(rows, row_object(model, &r->problem[i]));
    for (size_t i = 0; i < r->gaps; i++)
        json_array_append_new(missing, gap_object(model, &r->gap[i]));
    for (size_t i = 0; i < r->covers; i++)
        json_array_append_new(covers, cover_object(model, &r->cover[i]));
    json_print(out, json_pack("{s:o,s:o,s:o,s:o,s:o,s:s,s:o,s:I,s:I,s:I,s:I,s:o,s:o,s:o,s:o}", "vehicle",
                              json_words(rl_model_vehicle(model)->id), "alike", alike, "unseen", unseen, "prior_bits",
                              json_number_of(r->prior_bits), "left_bits", json_number_of(r->left_bits), "left_by", words_left(r->left),
                              "left_error", json_number_of(r->left_error), "drawn", (json_int_t)r->drawn, "inspections",
                              (json_int_t)r->inspections, "readings", (json_int_t)r->readings, "left_out",
                              (json_int_t)r->left_out, "rows", rows,
                              "missing", missing, "covered", covers, "close", close));
}

/* ---- the page ---- */

enum { SHOWN_ELEMENTS = 4 };

typedef struct audit_page {
    const screen *sc;
    const rl_model *model;
    const rl_audit_report *r;
    size_t most;
} audit_page;

static void say(const audit_page *p, const char *first, size_t indent, text *said)
{
    term_wrap(p->sc, first, indent, text_get(said));
    text_clear(said);
}

static void heading(const audit_page *p, const char *what)
{
    fputc('\n', p->sc->out);
    term_heading(p->sc, what);
}

/* Whether entry `shown` is beyond what a page takes. */
static bool enough(const audit_page *p, size_t shown)
{
    return p->most > 0 && shown >= p->most;
}

static void say_more(const audit_page *p, size_t shown, size_t all)
{
    text said = { 0 };
    if (all > shown) {
        text_add(&said, "and %zu more (--groups 0 shows all)", all - shown);
        say(p, "  ", 2, &said);
    }
    text_free(&said);
}

/* Whether the same tells two groups apart, and the same is missing. */
static bool want_same(const rl_alike *a, const rl_alike *b)
{
    if (a->tellers != b->tellers || a->pairs != b->pairs)
        return false;
    for (size_t i = 0; i < a->tellers; i++)
        if (strcmp(a->teller[i].test, b->teller[i].test) != 0 ||
            memcmp(a->teller[i].part, b->teller[i].part, (a->count + a->as_sound) * sizeof(size_t)) != 0)
            return false;
    for (size_t i = 0; i < a->pairs; i++) {
        const rl_untold *p = &a->pair[i], *q = &b->pair[i];
        if (p->first != q->first || p->second != q->second || p->remedy != q->remedy || p->element != q->element ||
            p->other != q->other || p->uninspected != q->uninspected)
            return false;
    }
    return true;
}

/* Whether two groups are of the same elements, each in one state, and want the same. */
static bool one_line(const rl_alike *a, const rl_alike *b)
{
    if (a->by_all != b->by_all || (a->apart > 0) != (b->apart > 0) || a->as_sound != b->as_sound ||
        a->count != b->count || words_alike_state(a) == RL_SOUND || words_alike_state(b) == RL_SOUND)
        return false;
    for (size_t i = 0; i < a->count; i++)
        if (a->faults[i].element != b->faults[i].element)
            return false;
    return want_same(a, b);
}

/* Whether a group of looks has a twin that no test tells apart: it is shown there. */
static bool shown_above(const audit_page *p, const rl_alike *g)
{
    for (size_t i = 0; i < p->r->alikes && !g->by_all && !(g->apart > 0); i++) {
        const rl_alike *a = &p->r->alike[i];
        if (a->by_all && a->count == g->count && memcmp(a->faults, g->faults, g->count * sizeof *g->faults) == 0)
            return true;
    }
    return false;
}

static bool leads(const audit_page *p, size_t index)
{
    for (size_t i = 0; i < index; i++)
        if (one_line(&p->r->alike[i], &p->r->alike[index]))
            return false;
    return true;
}

/* "loose or corroded" of all groups of the line; of a mixed one each fault with its state. */
static void put_states(const audit_page *p, text *said, size_t index, double *sum)
{
    const rl_alike *g = &p->r->alike[index];
    *sum = 0;
    bool first = true;
    if (words_alike_state(g) == RL_SOUND) {
        *sum = g->p;
        for (size_t i = 0; i < g->count && i < 2 * SHOWN_ELEMENTS; i++) {
            text_add(said, "%s", i > 0 ? ", " : "");
            words_name(said, p->model, g->faults[i].element);
            text_add(said, " %s", rl_state_text(g->faults[i].state));
        }
        if (g->count > 2 * SHOWN_ELEMENTS)
            text_add(said, " and %zu more", g->count - 2 * SHOWN_ELEMENTS);
        return;
    }
    words_alike_elements(said, p->model, g, SHOWN_ELEMENTS);
    for (size_t i = index; i < p->r->alikes; i++)
        if (one_line(g, &p->r->alike[i])) {
            text_add(said, "%s%s", first ? ": " : ", ", rl_state_text(words_alike_state(&p->r->alike[i])));
            *sum += p->r->alike[i].p;
            first = false;
        }
}

static void say_group(const audit_page *p, size_t index)
{
    const rl_alike *g = &p->r->alike[index];
    text said = { 0 }, share = { 0 }, first = { 0 };
    double sum;
    put_states(p, &said, index, &sum);
    text_add(&said, ". To tell: ");
    words_separated(&said, p->model, g, p->most > 0 ? SHOWN_ELEMENTS : 0);
    text_add(&said, ".");
    words_percent(&share, sum < 1 ? sum : 1);
    text_add(&first, "%7s  ", text_get(&share));
    say(p, text_get(&first), 9, &said);
    text_free(&said);
    text_free(&share);
    text_free(&first);
}

static void say_groups(const audit_page *p, bool by_all, bool close, bool as_sound, const char *what)
{
    size_t shown = 0, all = 0;
    for (size_t i = 0; i < p->r->alikes; i++) {
        const rl_alike *g = &p->r->alike[i];
        if (g->by_all != by_all || (g->apart > 0) != close || g->as_sound != as_sound || shown_above(p, g) || !leads(p, i))
            continue;
        if (all++ == 0)
            heading(p, what);
        if (!enough(p, shown)) {
            say_group(p, i);
            shown++;
        }
    }
    say_more(p, shown, all);
}

static void say_unseen(const audit_page *p)
{
    text said = { 0 };
    if (p->r->unseens == 0)
        return;
    heading(p, "No load and no symptom ever reveals");
    for (size_t i = 0; i < p->r->unseens && !enough(p, i); i++) {
        rl_untouched at = rl_model_flag(p->model, p->r->unseen[i]);
        words_name(&said, p->model, p->r->unseen[i]);
        text_add(&said, ", ");
        words_place(&said, at.path, at.line);
        say(p, "  ", 2, &said);
    }
    say_more(p, p->most > 0 && p->most < p->r->unseens ? p->most : p->r->unseens, p->r->unseens);
    text_free(&said);
}

/* Rows that are out of order by less are said in one line. */
static const double SLIGHT = 0.05;

static bool slight(const rl_row_problem *problem)
{
    return problem->sort == RL_ROW_MILDER && problem->p - problem->other < SLIGHT;
}

static void say_row(const audit_page *p, const rl_row_problem *problem)
{
    text said = { 0 };
    words_place(&said, problem->path, problem->line);
    text_add(&said, " kind ");
    term_safe(&said, rl_model_kind(p->model, problem->kind)->id);
    text_add(&said, ": ");
    words_row_problem(&said, p->model, problem);
    text_add(&said, ".");
    say(p, "  ", 4, &said);
    text_free(&said);
}

static void say_slight(const audit_page *p)
{
    text said = { 0 };
    const rl_row_problem *first = NULL;
    size_t count = 0, last = SIZE_MAX;
    for (size_t i = 0; i < p->r->problems; i++) {
        const rl_row_problem *problem = &p->r->problem[i];
        if (!slight(problem))
            continue;
        first = first == NULL ? problem : first;
        count++;
        if (problem->kind != last) {
            text_add(&said, "%s", last != SIZE_MAX ? ", " : "");
            term_safe(&said, rl_model_kind(p->model, problem->kind)->id);
        }
        last = problem->kind;
    }
    text_add(&said, ": a graver row is milder by less than 5 points in %zu place%s; the first:", count,
             count == 1 ? "" : "s");
    if (count > 0) {
        say(p, "  ", 4, &said);
        say_row(p, first);
    }
    text_free(&said);
}

static void say_rows(const audit_page *p)
{
    size_t shown = 0, all = 0;
    if (p->r->problems > 0)
        heading(p, "Rows that contradict each other, or what corrosion costs");
    for (size_t i = 0; i < p->r->problems; i++) {
        if (p->most > 0 && slight(&p->r->problem[i]))
            continue;
        if (!enough(p, all++)) {
            say_row(p, &p->r->problem[i]);
            shown++;
        }
    }
    say_more(p, shown, all);
    if (p->most > 0)
        say_slight(p);
}

static void say_gaps(const audit_page *p, rl_gap_sort sort, const char *what)
{
    text said = { 0 };
    size_t shown = 0, all = 0;
    for (size_t i = 0; i < p->r->gaps; i++) {
        const rl_gap *gap = &p->r->gap[i];
        if (gap->sort != sort)
            continue;
        if (all++ == 0)
            heading(p, what);
        if (enough(p, shown))
            continue;
        rl_untouched at = rl_model_flag(p->model, gap->element);
        words_place(&said, at.path, at.line);
        text_add(&said, " ");
        words_gap(&said, p->model, gap);
        say(p, "  ", 4, &said);
        shown++;
    }
    say_more(p, shown, all);
    text_free(&said);
}

static void say_covers(const audit_page *p, bool always, const char *what)
{
    text said = { 0 };
    size_t shown = 0, all = 0;
    for (size_t i = 0; i < p->r->covers; i++) {
        const rl_cover *cover = &p->r->cover[i];
        bool again = !always && i > 0 && cover[-1].element == cover->element && !cover[-1].always;
        if (cover->always != always || again)
            continue;
        if (all++ == 0)
            heading(p, what);
        if (enough(p, shown))
            continue;
        rl_untouched at = rl_model_flag(p->model, cover->element);
        words_place(&said, at.path, at.line);
        text_add(&said, " ");
        words_cover(&said, p->model, cover);
        text_add(&said, ".");
        say(p, "  ", 4, &said);
        shown++;
    }
    say_more(p, shown, all);
    text_free(&said);
}

static void print_page(const audit_page *p)
{
    const rl_vehicle *v = rl_model_vehicle(p->model);
    text said = { 0 };
    text_add(&said, "Audit of the rules of ");
    term_safe(&said, v->label);
    term_heading(p->sc, text_get(&said));
    text_clear(&said);
    words_bits(&said, p->r);
    if (p->r->alikes > 0)
        text_add(&said, " Percentages before groups of faults: how probable these are together, before any finding.");
    say(p, "", 0, &said);
    say_groups(p, true, false, true, "Faults that nothing at all shows");
    say_groups(p, true, false, false, "Faults that no test tells apart");
    say_groups(p, false, false, true, "Faults that looking never shows");
    say_groups(p, false, false, false, "Faults that looking alone does not tell apart");
    say_groups(p, false, true, false, "Faults that one look hardly tells apart (within 5 points in each)");
    say_unseen(p);
    say_rows(p);
    say_gaps(p, RL_GAP_CURRENT, "Loads whose current is not said, though their kind needs it");
    say_gaps(p, RL_GAP_READINGS, "Loads at which nothing can be measured");
    say_gaps(p, RL_GAP_BY, "Conductors not said (`by`), that readings count as nothing");
    say_covers(p, true, "Returns that never count");
    say_covers(p, false, "Returns that hide faults of each other");
    text_free(&said);
}

/* ---- the command ---- */

static int audit_rules(const session *s, const audit_options *o)
{
    rl_audit *audit;
    rl_status status = complain_can(s);
    if (status == RL_OK)
        status = rl_audit_new(s->context, s->model, o->draws, o->seed, &audit);
    if (status != RL_OK)
        return session_status(status);
    screen sc = term_screen(stdout, o->plain);
    audit_page p = { &sc, s->model, rl_audit_get(audit), o->groups };
    if (o->json)
        print_json(stdout, s->model, p.r);
    else
        print_page(&p);
    rl_audit_free(audit);
    return TOOL_DONE;
}

int cmd_audit(int argc, char **argv)
{
    audit_options o = { .draws = 400, .seed = 1, .groups = 8 };
    const option_spec option[] = {
        { .name = "--json", .flag = &o.json },
        { .name = "--no-color", .flag = &o.plain },
        { .name = "--groups", .count = &o.groups, .most = 100000 },
        { .name = "--draws", .count = &o.draws, .least = 2, .most = 1000000 },
        { .name = "--seed", .count = &o.seed, .most = 1000000000 },
        { .name = "--memory", .count = &o.memory, .least = 1, .most = 1 << 20 },
    };
    static const char *const operand[] = { "RULES" };
    const usage u = { "audit", help, option, sizeof option / sizeof *option, 1, 1, operand };
    int operands, status = options_read(&u, argc, argv, &operands);
    if (status >= 0)
        return status;
    session s;
    status = session_open(&s, argv[0], o.memory);
    if (s.model != NULL)
        status = status_worse(status, audit_rules(&s, &o));
    session_close(&s);
    return status;
}

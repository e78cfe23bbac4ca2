/* repair.c: the sheet of a repair, and how far the repair is proved.
 *
 * Invariant: cautions stand before what they are about, on the whole sheet and
 * for each reading; no line is wider than the screen.
 */
#include "repair.h"

#include "cautions.h"
#include "where.h"
#include "words.h"
#include "words_repair.h"

#include <assert.h>
#include <stdlib.h>

static void say(const screen *sc, const char *first, const text *safe)
{
    term_wrap(sc, first, term_cells(first), text_get(safe));
}

/* ---- which element ---- */

rl_status repair_subject(const rl_model *model, rl_case *c, size_t *element)
{
    assert(rl_model_vehicle(model)->elements > 0);
    const rl_answer *answer;
    const rl_proof *proof;
    rl_status status = rl_case_answer(c, &answer);
    if (status != RL_OK)
        return status;
    *element = words_leader(model, answer);
    status = rl_case_proof(c, *element, &proof);
    if (status != RL_OK)
        return status;
    for (size_t i = 0; i < proof->repaired_count; i++) {   /* of what was repaired the likeliest to have been it */
        const rl_belief *one = &answer->belief[proof->repaired[i]];
        if (i == 0 || words_coarse(words_not_sound(one)) > words_coarse(words_not_sound(&answer->belief[*element])))
            *element = proof->repaired[i];
    }
    return RL_OK;
}

int repair_element(const rl_model *model, const char *name, text *why)
{
    size_t count = rl_model_vehicle(model)->elements;
    int element = rl_model_find(model, name);
    if (element >= 0)
        return element;
    const char **id = tool_take((count + 1) * sizeof *id);
    for (size_t i = 0; i < count; i++)
        id[i] = rl_model_element(model, i)->id;
    const char *near = text_nearest(name, id, count);
    if (near != NULL)
        text_add(why, "no element is called `%s`; did you mean `%s`?", name, near);
    else
        text_add(why, "no element is called `%s`", name);
    free(id);
    return -1;
}

/* ---- the sheet ---- */

static void say_head(const screen *sc, const rl_model *model, size_t element, const rl_answer *answer)
{
    text line = { 0 };
    words_name(&line, model, element);
    text_add(&line, ", most likely %s", rl_state_text(words_worst(&answer->belief[element])));
    text_add(&line, " (at fault with ");
    words_percent(&line, words_not_sound(&answer->belief[element]));
    text_add(&line, ")");
    fputs(sc->colour ? "\033[1m" : "", sc->out);
    say(sc, "Repair of ", &line);
    fputs(sc->colour ? "\033[0m" : "", sc->out);
    text_clear(&line);
    text_add(&line, "%s", cautions_always);
    say(sc, "  Always: ", &line);
    text_free(&line);
}

/* Minutes to get at it and to mend it. */
static void say_time(const screen *sc, const rl_model *model, rl_case *c, size_t element)
{
    const rl_element *e = rl_model_element(model, element);
    size_t areas = rl_model_vehicle(model)->areas;
    bool *open = tool_take((areas + 1) * sizeof *open);
    text line = { 0 };
    if (e->area >= 0 && rl_case_open_areas(c, open) == RL_OK && open[e->area]) {
        text_add(&line, "it is open already");
    } else if (e->area >= 0) {
        words_minutes(&line, rl_model_area(model, (size_t)e->area)->access);
        text_add(&line, " to get at it");
    }
    if (e->repair_minutes >= 0) {
        text_add(&line, line.length > 0 ? ", " : "");
        words_minutes(&line, e->repair_minutes);
        text_add(&line, " for the repair");
    }
    if (line.length > 0)
        say(sc, "  Time: ", &line);
    free(open);
    text_free(&line);
}

static void say_reading(const screen *sc, const rl_model *model, const rl_proof_reading *r)
{
    text line = { 0 };
    text_list cautions = { 0 };
    cautions_of_test(&cautions, model, &r->test);
    where_cautions(sc, &cautions);
    words_proof_line(&line, model, r);
    say(sc, "  - ", &line);
    text_clear(&line);
    words_proof_how(&line, model, r);
    say(sc, "    ", &line);
    list_free(&cautions);
    text_free(&line);
}

static void say_readings(const screen *sc, const rl_model *model, size_t element, const rl_proof *proof)
{
    text line = { 0 };
    term_heading(sc, "Readings that prove it, under load");
    for (size_t i = 0; i < proof->readings; i++)
        say_reading(sc, model, &proof->reading[i]);
    if (proof->readings == 0) {
        text_add(&line, rl_model_element(model, element)->sort == RL_LOAD
                            ? "none: a load proves itself by what it does"
                            : "none that may be taken goes over it for certain: what the loads do is the proof");
        say(sc, "  ", &line);
    }
    text_free(&line);
}

static void say_complaints(const screen *sc, const rl_case *c, const rl_proof *proof)
{
    text line = { 0 };
    term_heading(sc, "Complaints that must be gone");
    for (size_t i = 0; i < proof->complaints; i++) {
        text_clear(&line);
        words_line(&line, rl_case_line(c, proof->complaint[i].line), false);
        if (!proof->complaint[i].must)
            text_add(&line, " (if it can be seen again)");
        say(sc, proof->complaint[i].gone ? "  gone    " : "          ", &line);
    }
    if (proof->complaints == 0)
        term_wrap(sc, "  ", 2, "none: the case has no load or symptom that is amiss");
    text_free(&line);
}

rl_status repair_sheet(const screen *sc, const rl_model *model, rl_case *c, size_t element)
{
    assert(element < rl_model_vehicle(model)->elements);
    const rl_answer *answer;
    const rl_proof *proof;
    text_list cautions = { 0 };
    rl_status status = rl_case_answer(c, &answer);
    if (status == RL_OK)
        status = rl_case_proof(c, element, &proof);
    if (status != RL_OK)
        return status;
    say_head(sc, model, element, answer);
    cautions_of_repair(&cautions, model, element);
    where_cautions(sc, &cautions);
    where_about(sc, model, element);
    say_time(sc, model, c, element);
    fputc('\n', sc->out);
    say_readings(sc, model, element, proof);
    fputc('\n', sc->out);
    say_complaints(sc, c, proof);
    list_free(&cautions);
    return RL_OK;
}

/* ---- the proof so far ---- */

static void say_taken(const screen *sc, const rl_case *c, const rl_proof *proof)
{
    for (size_t i = 0; i < proof->takens; i++) {
        text line = { 0 };
        words_line(&line, rl_case_line(c, proof->taken[i].line), false);
        text_add(&line, ": ");
        words_taken(&line, &proof->taken[i]);
        say(sc, "  Measured: ", &line);
        text_free(&line);
    }
}

rl_status repair_progress(const screen *sc, const rl_model *model, rl_case *c, size_t element)
{
    const rl_proof *proof;
    rl_status status = rl_case_proof(c, element, &proof);
    if (status != RL_OK)
        return status;
    text line = { 0 };
    if (proof->complaints > 0) {
        size_t gone = 0;
        for (size_t i = 0; i < proof->complaints; i++)
            gone += proof->complaint[i].again != SIZE_MAX && proof->complaint[i].gone;
        text_add(&line, "%zu of %zu", gone, proof->complaints);
        say(sc, "  Complaints gone: ", &line);
    }
    text_clear(&line);
    words_still(&line, c, proof);
    if (line.length > 0)
        say(sc, "  Still there: ", &line);
    say_taken(sc, c, proof);
    text_clear(&line);
    words_unseen(&line, model, proof);
    if (line.length > 0)
        say(sc, "  Still to see: ", &line);
    text_clear(&line);
    words_verdict(&line, model, element, proof);
    say(sc, "  ", &line);
    text_free(&line);
    return RL_OK;
}

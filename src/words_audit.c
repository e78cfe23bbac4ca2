/* words_audit.c: how an audit is said, in the words of the trade.  Invariant: see words_audit.h. */
#include "words_audit.h"

#include "files.h"
#include "term.h"
#include "words.h"

#include <assert.h>
#include <math.h>
#include <string.h>

void words_place(text *out, const char *path, size_t line)
{
    term_safe(out, file_name(path));
    text_add(out, ":%zu", line);
}

/* Faults of one element stand together. */
void words_alike_elements(text *out, const rl_model *model, const rl_alike *group, size_t most)
{
    size_t said = 0, elements = 0;
    for (size_t i = 0; i < group->count; i++) {
        if (i > 0 && group->faults[i].element == group->faults[i - 1].element)
            continue;
        elements++;
        if (most > 0 && said == most)
            continue;
        text_add(out, "%s", said++ > 0 ? ", " : "");
        words_name(out, model, group->faults[i].element);
    }
    if (elements > said)
        text_add(out, " and %zu more", elements - said);
}

static void lacking(text *out, const rl_model *model, const rl_alike *g, const char *how)
{
    text_add(out, "nothing observed %s through ", how);
    term_safe(out, rl_model_element(model, (size_t)g->element)->id);
    if (g->other >= 0) {
        text_add(out, " but not ");
        term_safe(out, rl_model_element(model, (size_t)g->other)->id);
    }
    text_add(out, ": a load of its own at ");
    term_safe(out, rl_model_element(model, (size_t)g->element)->id);
    text_add(out, " would tell%s", g->uninspected ? ", or an inspection there" : "");
}

void words_separated(text *out, const rl_model *model, const rl_alike *g)
{
    switch (g->remedy) {
    case RL_REMEDY_TEST:
        text_add(out, "`");
        term_safe(out, g->test);
        text_add(out, "`, ");
        words_minutes(out, g->minutes);
        break;
    case RL_REMEDY_RETURN: lacking(out, model, g, "returns"); break;
    case RL_REMEDY_FEED: lacking(out, model, g, "is fed"); break;
    case RL_REMEDY_INSPECTION:
        text_add(out, "an inspection of ");
        term_safe(out, rl_model_element(model, (size_t)g->element)->id);
        text_add(out, " would tell: the rules have none, or do not allow it");
        break;
    case RL_REMEDY_REPAIR: text_add(out, "only the repair shows which it was"); break;
    }
}

/* "normal", or "dim or milder" from the second level on. */
static void put_level(text *out, const rl_kind *kind, size_t level)
{
    assert(level < kind->levels);
    term_safe(out, kind->level[level]);
    if (level > 0)
        text_add(out, " or milder");
}

void words_row_problem(text *out, const rl_model *model, const rl_row_problem *p)
{
    const rl_kind *kind = rl_model_kind(model, p->kind);
    text_add(out, "`");
    term_safe(out, p->row);
    text_add(out, "` leaves it ");
    put_level(out, kind, p->level);
    text_add(out, " in ");
    words_percent(out, p->p);
    if (p->sort == RL_ROW_MILDER) {
        text_add(out, ", `");
        term_safe(out, p->than);
        text_add(out, "` only in ");
        words_percent(out, p->other);
        return;
    }
    text_add(out, p->sort == RL_ROW_HARSH ? ", yet by `draws` and `joint` corrosion costs "
                                          : ", yet by `draws` and `joint` corrosion leaves ");
    words_name(out, model, (size_t)p->load);
    text_add(out, p->sort == RL_ROW_HARSH ? " too little to be seen in " : " more than half its volts in only ");
    words_percent(out, p->other);
}

void words_gap(text *out, const rl_model *model, const rl_gap *gap)
{
    words_name(out, model, gap->element);
    switch (gap->sort) {
    case RL_GAP_CURRENT:
        text_add(out, ": `draws` is not said, so the `short of` rows of its kind do nothing");
        break;
    case RL_GAP_READINGS:
        text_add(out, ": `draws` is not said, so no drop or supply can be read at it, and no bypass or jumper tried");
        break;
    case RL_GAP_BY:
        text_add(out, " to ");
        term_safe(out, rl_model_element(model, (size_t)gap->parent)->id);
        break;
    }
}

static void put_way(text *out, const rl_model *model, size_t element, size_t which)
{
    const int *via;
    size_t count;
    int parent = -1;
    rl_model_way(model, element, which, &parent, &via, &count);
    term_safe(out, parent >= 0 ? rl_model_element(model, (size_t)parent)->id : "the battery");
    for (size_t i = 0; i < count; i++) {
        text_add(out, i == 0 ? " via " : ", ");
        term_safe(out, rl_model_element(model, (size_t)via[i])->id);
    }
}

void words_cover(text *out, const rl_model *model, const rl_cover *cover)
{
    words_name(out, model, cover->element);
    text_add(out, ": its way by ");
    put_way(out, model, cover->element, cover->which);
    text_add(out, cover->always ? " never counts, that by " : " and that by ");
    put_way(out, model, cover->element, cover->beside);
    text_add(out, cover->always ? " is never worse: no fault of the first is ever seen there"
                                : " hide each other's faults: one shows only while the other has one too");
}

const char *words_left(rl_left left)
{
    return left == RL_LEFT_EXACT ? "exact" : left == RL_LEFT_DRAWN ? "drawn" : "bound";
}

void words_bits(text *out, const rl_audit_report *r)
{
    text_add(out, "Before any finding the states of all elements hold %.2f bits. Seeing every load and every symptom "
                  "once leaves ", r->prior_bits);
    switch (r->left) {
    case RL_LEFT_EXACT:
        text_add(out, "%.2f of them on average (exact).", r->left_bits);
        break;
    case RL_LEFT_DRAWN:
        text_add(out, "%.2f of them on average (estimated by %zu drawn vehicles, standard error %.2f).", r->left_bits,
                 r->drawn, r->left_error);
        break;
    case RL_LEFT_BOUND:
        text_add(out, "at most %.2f of them (more could not be worked out within the memory bound).", r->left_bits);
        break;
    }
}

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

/* The one state of all faults of a group; RL_SOUND: they have several. */
rl_state words_alike_state(const rl_alike *g)
{
    for (size_t i = 1; i < g->count; i++)
        if (g->faults[i].state != g->faults[0].state)
            return RL_SOUND;
    return g->faults[0].state;
}

/* "frame", of faults in several states "frame loose"; `index` may be that of a sound vehicle. */
static void put_member(text *out, const rl_model *model, const rl_alike *g, size_t index)
{
    if (index == g->count) {
        text_add(out, "a sound vehicle");
        return;
    }
    term_safe(out, rl_model_element(model, g->faults[index].element)->id);
    if (words_alike_state(g) == RL_SOUND)
        text_add(out, " %s", rl_state_text(g->faults[index].state));
}

/* What stands before name `at` of `count`: ", " or, before the last, the word. */
static const char *joint(size_t at, size_t count, const char *last)
{
    return at == 0 ? "" : at + 1 == count ? last : ", ";
}

static size_t members_of(const rl_alike *g)
{
    return g->count + g->as_sound;
}

/* "a and b": the members of a class, at most so many of them (0: all). */
static void put_class(text *out, const rl_model *model, const rl_alike *g, const size_t *part, size_t wanted, size_t most)
{
    size_t count = 0, at = 0;
    for (size_t i = 0; i < members_of(g); i++)
        count += part[i] == wanted;
    bool all = most == 0 || count <= most;
    for (size_t i = 0; i < members_of(g) && (all || at < most); i++)
        if (part[i] == wanted) {
            text_add(out, "%s", all ? joint(at, count, " and ") : at > 0 ? ", " : "");
            at++;
            put_member(out, model, g, i);
        }
    if (!all)
        text_add(out, " and %zu more", count - most);
}

/* Whether two members were not told apart; no class: nothing was told yet. */
static bool together(const size_t *class, size_t a, size_t b)
{
    return class == NULL || class[a] == class[b];
}

static bool leads_class(const size_t *class, size_t index)
{
    for (size_t i = 0; i < index; i++)
        if (together(class, i, index))
            return false;
    return true;
}

static bool is_split(const rl_alike *g, const size_t *before, const size_t *now, size_t index)
{
    for (size_t i = 0; i < members_of(g); i++)
        if (together(before, i, index) && now[i] != now[index])
            return true;
    return false;
}

void words_told(text *out, const rl_model *model, const rl_alike *g, size_t step, size_t most)
{
    const size_t *now = g->teller[step].part, *before = step > 0 ? g->teller[step - 1].part : NULL;
    size_t splits = 0;
    for (size_t i = 0; i < members_of(g); i++) {
        if (!leads_class(before, i) || !is_split(g, before, now, i))
            continue;
        text_add(out, "%s", splits++ > 0 ? ", and " : "");
        for (size_t k = i; k < members_of(g); k++)
            if (together(before, i, k) && leads_class(now, k)) {
                text_add(out, "%s", k == i ? "" : " from ");
                put_class(out, model, g, now, now[k], most);
            }
    }
}

static void put_steps(text *out, const rl_model *model, const rl_alike *g, size_t most)
{
    for (size_t i = 0; i < g->tellers && (most == 0 || i < most); i++) {
        text_add(out, "%s`", i > 0 ? "; " : "");
        term_safe(out, g->teller[i].test);
        text_add(out, members_of(g) > 2 ? "` (" : "`, ");
        words_minutes(out, g->teller[i].minutes);
        if (members_of(g) > 2) {
            text_add(out, ") tells ");
            words_told(out, model, g, i, most);
        }
    }
    if (most > 0 && g->tellers > most)
        text_add(out, "; and %zu more test%s", g->tellers - most, g->tellers - most == 1 ? "" : "s");
}

static bool wants_load(const rl_untold *p)
{
    return p->remedy == RL_REMEDY_RETURN || p->remedy == RL_REMEDY_FEED;
}

/* Whether two pairs want the same of the rules, and one sentence says so. */
static bool same_want(const rl_untold *a, const rl_untold *b)
{
    return a->remedy == b->remedy && a->remedy != RL_REMEDY_REPAIR && a->element == b->element &&
           (a->other >= 0) == (b->other >= 0) && a->uninspected == b->uninspected &&
           (wants_load(a) || a->first == b->first);
}

/* Whether pair `at` wants what pair `index` does, of another element than those before it. */
static bool adds_other(const rl_alike *g, size_t index, size_t at)
{
    if (!same_want(&g->pair[index], &g->pair[at]))
        return false;
    for (size_t i = index; i < at; i++)
        if (same_want(&g->pair[index], &g->pair[i]) && g->pair[i].other == g->pair[at].other)
            return false;
    return true;
}

/* "nothing observed returns through frame but not mid or rear: …", of all pairs that want this. */
static void lacking(text *out, const rl_model *model, const rl_alike *g, size_t index)
{
    const rl_untold *p = &g->pair[index];
    const char *id = rl_model_element(model, (size_t)p->element)->id;
    size_t count = 0, at = 0;
    text_add(out, "nothing observed %s through ", p->remedy == RL_REMEDY_RETURN ? "returns" : "is fed");
    term_safe(out, id);
    for (size_t i = index; i < g->pairs; i++)
        count += adds_other(g, index, i);
    for (size_t i = index; i < g->pairs && p->other >= 0; i++)
        if (adds_other(g, index, i)) {
            text_add(out, "%s", at == 0 ? " but not " : joint(at, count, " or "));
            at++;
            term_safe(out, rl_model_element(model, (size_t)g->pair[i].other)->id);
        }
    text_add(out, ": a load of its own at ");
    term_safe(out, id);
    text_add(out, " would tell%s", p->uninspected ? ", or an inspection there" : "");
}

/* "no test tells a from b or c: ", where it is not clear without. */
static void put_untold(text *out, const rl_model *model, const rl_alike *g, size_t index)
{
    size_t count = 0, at = 0;
    if (members_of(g) == 2)
        return;
    for (size_t i = index; i < g->pairs; i++)
        count += i == index || same_want(&g->pair[index], &g->pair[i]);
    text_add(out, "no test tells ");
    put_member(out, model, g, g->pair[index].first);
    for (size_t i = index; i < g->pairs; i++)
        if (i == index || same_want(&g->pair[index], &g->pair[i])) {
            text_add(out, "%s", at == 0 ? " from " : joint(at, count, " or "));
            at++;
            put_member(out, model, g, g->pair[i].second);
        }
    text_add(out, ": ");
}

static void put_want(text *out, const rl_model *model, const rl_alike *g, size_t index)
{
    const rl_untold *p = &g->pair[index];
    assert(p->remedy != RL_REMEDY_TEST);
    if (wants_load(p)) {
        lacking(out, model, g, index);
        return;
    }
    put_untold(out, model, g, index);
    if (p->remedy == RL_REMEDY_REPAIR) {
        text_add(out, "only the repair shows which it was");
        return;
    }
    text_add(out, "an inspection of ");
    term_safe(out, rl_model_element(model, (size_t)p->element)->id);
    text_add(out, " would tell: the rules have none, or do not allow it");
}

void words_lacked(text *out, const rl_model *model, const rl_alike *g, size_t index)
{
    rl_alike pair = *g;
    pair.pair = &g->pair[index];
    pair.pairs = 1;
    put_want(out, model, &pair, 0);
}

void words_separated(text *out, const rl_model *model, const rl_alike *g, size_t most)
{
    size_t said = 0, wants = 0;
    put_steps(out, model, g, most);
    for (size_t i = 0; i < g->pairs; i++) {
        bool again = false;
        for (size_t k = 0; k < i && !again; k++)
            again = same_want(&g->pair[k], &g->pair[i]);
        if (again || (wants++, most > 0 && said == most))
            continue;
        text_add(out, "%s", g->tellers > 0 || said > 0 ? "; " : "");
        put_want(out, model, g, i);
        said++;
    }
    if (wants > said)
        text_add(out, "; and %zu more that no test tells apart", wants - said);
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

static void put_count(text *out, size_t count, const char *what)
{
    text_add(out, "%zu %s%s", count, what, count == 1 ? "" : "s");
}

/* "Seeing every load and every symptom, and making the 60 inspections that need nothing opened, once". */
static void put_done(text *out, const rl_audit_report *r)
{
    text_add(out, "Seeing every load and every symptom");
    if (r->inspections + r->readings > 0) {
        text_add(out, ", and making ");
        if (r->inspections > 0)
            put_count(out, r->inspections, "inspection");
        text_add(out, "%s", r->inspections > 0 && r->readings > 0 ? " and " : "");
        if (r->readings > 0)
            put_count(out, r->readings, "reading");
        text_add(out, " that need%s nothing opened,", r->inspections + r->readings == 1 ? "s" : "");
    }
    text_add(out, " once leaves ");
}

void words_bits(text *out, const rl_audit_report *r)
{
    text_add(out, "Before any finding the states of all elements hold %.2f bits. ", r->prior_bits);
    put_done(out, r);
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
    if (r->left_out > 0) {
        text_add(out, " ");
        put_count(out, r->left_out, "further reading");
        text_add(out, " would leave less: all of them together could not be worked out.");
    }
}

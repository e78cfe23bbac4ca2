/* offer.c: what can be typed next at the prompt.
 *
 * Invariant: a pure function of the rules and of the line up to the cursor;
 * knows nothing of terminals, so that it is one for every way of typing.
 */
#include "offer.h"

#include "words.h"

#include <assert.h>
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

const char *const prompt_commands[] = {
    "close", "help", "how", "leave", "lines", "list", "next", "repair", "resume", "save", "show", "undo", "where", "why",
};
const size_t prompt_command_count = sizeof prompt_commands / sizeof *prompt_commands;

enum { MOST_TOKENS = 32 };

/* The whole words of a line, and where each begins. */
typedef struct tokens {
    char *copy;
    const char *word[MOST_TOKENS];
    size_t begin[MOST_TOKENS];
    size_t count;
} tokens;

static void split(tokens *t, const char *line, size_t length)
{
    *t = (tokens){ .copy = tool_copy(line, length) };
    for (size_t at = 0; at < length && t->count < MOST_TOKENS;) {
        while (at < length && isspace((unsigned char)line[at]))
            at++;
        size_t begin = at;
        while (at < length && !isspace((unsigned char)line[at]))
            at++;
        t->copy[at] = '\0';
        if (at > begin && t->copy[at - 1] == ',')
            t->copy[at - 1] = '\0';
        t->begin[t->count] = begin;
        t->word[t->count] = t->copy + begin;
        t->count += at > begin;
        at++;
    }
}

static void add(offers *o, const char *word, const char *label)
{
    list_add(&o->word, word);
    list_add(&o->label, label);
}

static void add_words(offers *o, const char *words)
{
    tokens t;
    split(&t, words, strlen(words));
    for (size_t i = 0; i < t.count; i++)
        add(o, t.word[i], "");
    free(t.copy);
}

static void add_elements(offers *o, const rl_model *model, unsigned sorts)
{
    size_t count = rl_model_vehicle(model)->elements;
    for (size_t i = 0; i < count; i++) {
        const rl_element *e = rl_model_element(model, i);
        text label = { 0 };
        if (!(sorts >> e->sort & 1u))
            continue;
        words_label(&label, model, i);
        add(o, e->id, text_get(&label));
        text_free(&label);
    }
}

enum { LOADS = 1u << RL_LOAD, JOINTS = (1u << RL_POINT) | (1u << RL_SPLICE) | (1u << RL_CONNECTOR) | (1u << RL_WIRE) };
enum { ANYTHING = (1u << RL_SORTS) - 1 };

static void add_named(offers *o, const char *id, const char *label)
{
    add(o, id, strcmp(id, label) != 0 ? label : "");
}

static void add_signs(offers *o, const rl_model *model)
{
    const rl_vehicle *v = rl_model_vehicle(model);
    for (size_t i = 0; i < v->symptoms; i++)
        add_named(o, rl_model_symptom(model, i)->id, rl_model_symptom(model, i)->label);
    for (size_t i = 0; i < v->inspections; i++)
        add_named(o, rl_model_inspection(model, i)->id, rl_model_inspection(model, i)->label);
}

static void add_areas(offers *o, const rl_model *model)
{
    for (size_t i = 0; i < rl_model_vehicle(model)->areas; i++)
        add_named(o, rl_model_area(model, i)->id, rl_model_area(model, i)->label);
}

int offer_symptom(const rl_model *model, const char *id)
{
    for (size_t i = 0; i < rl_model_vehicle(model)->symptoms; i++)
        if (strcmp(rl_model_symptom(model, i)->id, id) == 0)
            return (int)i;
    return -1;
}

int offer_inspection(const rl_model *model, const char *id)
{
    for (size_t i = 0; i < rl_model_vehicle(model)->inspections; i++)
        if (strcmp(rl_model_inspection(model, i)->id, id) == 0)
            return (int)i;
    return -1;
}

int offer_area(const rl_model *model, const char *id)
{
    for (size_t i = 0; i < rl_model_vehicle(model)->areas; i++)
        if (strcmp(rl_model_area(model, i)->id, id) == 0)
            return (int)i;
    return -1;
}

static bool one_of(const char *word, const char *words)
{
    size_t n = strlen(word);
    for (const char *at = strstr(words, word); n > 0 && at != NULL; at = strstr(at + 1, word))
        if ((at == words || at[-1] == ' ') && (at[n] == ' ' || at[n] == '\0'))
            return true;
    return false;
}

static bool said(const tokens *t, size_t count, const char *word)
{
    for (size_t i = 0; i < count; i++)
        if (strcmp(t->word[i], word) == 0)
            return true;
    return false;
}

static void at_start(offers *o, const rl_model *model)
{
    add_elements(o, model, LOADS);
    add_signs(o, model);
    add_words(o, "backfeed case continuity drop expect found occasion opened others pull resistance supply");
    for (size_t i = 0; i < prompt_command_count; i++)
        add(o, prompt_commands[i], "");
}

/* What follows a word that asks for something of its own; false if it does not. */
static bool after_word(offers *o, const rl_model *model, const tokens *t, size_t count)
{
    const char *first = t->word[0], *last = t->word[count - 1];
    if (count < 2)
        return false;
    if (one_of(last, "sure said battery above below"))
        return true;
    if (strcmp(last, "with") == 0)
        add_words(o, strcmp(first, "occasion") == 0 ? "repaired" : "bypass jumper repaired swap");
    else if (strcmp(last, "also") == 0 || (strcmp(last, "to") == 0 && one_of(first, "backfeed pull")))
        add_elements(o, model, LOADS);
    else if (strcmp(last, "repaired") == 0)
        add_elements(o, model, ANYTHING);
    else if (one_of(last, "from to of") || (strcmp(last, "at") == 0 && said(t, count, "bypass")))
        add_elements(o, model, JOINTS);
    else
        return false;
    return true;
}

static void in_reading(offers *o, const rl_model *model, const tokens *t, size_t count)
{
    const char *first = t->word[0];
    if (count == 1)
        add_elements(o, model, LOADS);
    else if (one_of(first, "backfeed pull"))
        add_words(o, said(t, count, "to") ? "absent not present sure" : "to");
    else if (strcmp(first, "continuity") == 0)
        add_words(o, "beeps from silent to");
    else if (strcmp(first, "resistance") == 0)
        add_words(o, "from open to");
    else
        add_words(o, strcmp(first, "drop") == 0 ? "also at from to" : "also");
}

static void in_found(offers *o, const rl_model *model, const tokens *t, size_t count)
{
    int element = rl_model_find(model, t->word[count - 1]);
    if (element >= 0)
        add_words(o, rl_model_element(model, (size_t)element)->sort == RL_LOAD ? "failed" : "corroded loose open");
    else if (count == 1)
        add_words(o, strcmp(t->word[0], "close") == 0 ? "anyway" : "nothing only");
    if (element < 0)
        add_elements(o, model, ANYTHING);
}

static void in_behaviour(offers *o, const rl_model *model, int load, size_t count)
{
    int index = rl_model_element(model, (size_t)load)->kind;
    if (index < 0)
        return;
    const rl_kind *kind = rl_model_kind(model, (size_t)index);
    for (size_t i = 0; i < kind->levels; i++)
        add(o, kind->level[i], "");
    add_words(o, count == 1 ? "not" : "or sure with");
}

static void in_inspection(offers *o, const rl_model *model, int inspection, size_t count)
{
    const rl_inspection *look = rl_model_inspection(model, (size_t)inspection);
    if (count == 1) {
        add_elements(o, model, look->sorts);
        return;
    }
    for (size_t i = 0; i < look->outcomes; i++)
        add(o, look->outcome[i], "");
    add_words(o, count == 2 ? "not" : "or sure");
}

/* Everything that may follow the first `count` words. */
static void expected(offers *o, const rl_model *model, const tokens *t, size_t count)
{
    if (count == 0) {
        at_start(o, model);
        return;
    }
    const char *first = t->word[0];
    int load = rl_model_find(model, first), look = offer_inspection(model, first);
    if (after_word(o, model, t, count))
        return;
    if (load >= 0)
        in_behaviour(o, model, load, count);
    else if (offer_symptom(model, first) >= 0)
        add_words(o, "absent not present sure");
    else if (look >= 0)
        in_inspection(o, model, look, count);
    else if (one_of(first, "drop resistance continuity supply backfeed pull"))
        in_reading(o, model, t, count);
    else if (strcmp(first, "others") == 0)
        add_words(o, count == 1 ? "of work" : "work");
    else if (strcmp(first, "opened") == 0)
        add_areas(o, model);
    else if (one_of(first, "close found"))
        in_found(o, model, t, count);
    else if (strcmp(first, "expect") == 0 && count > 1)
        add_words(o, "above below leads");
    else if (one_of(first, "expect repair where why"))
        add_elements(o, model, ANYTHING);
    else if (strcmp(first, "occasion") == 0 && count > 1)
        add_words(o, "battery said with");
    if (strcmp(first, "where") == 0)
        add_areas(o, model);
}

static bool begins(const char *word, const char *part)
{
    while (*part != '\0' && tolower((unsigned char)*word) == tolower((unsigned char)*part)) {
        word++;
        part++;
    }
    return *part == '\0';
}

/* Keeps of `all` what begins with `part` (unless `labels_only`) or has it in its label. */
static void filter(const offers *all, const char *part, bool labels_only, offers *out)
{
    bool by_label = strlen(part) >= 2;
    for (size_t i = 0; i < all->word.count; i++)
        if ((!labels_only && begins(all->word.item[i], part))
            || (by_label && text_within(all->label.item[i], part)))
            add(out, all->word.item[i], all->label.item[i]);
}

void offer_for(const rl_model *model, const char *before, offers *out)
{
    assert(before != NULL);
    size_t length = strlen(before);
    bool fresh = length == 0 || isspace((unsigned char)before[length - 1]);
    tokens t;
    split(&t, before, length);
    size_t whole = t.count - (!fresh && t.count > 0);   /* words that are finished */
    *out = (offers){ 0 };
    for (size_t back = 0; back <= whole && back < 5 && out->word.count == 0; back++) {
        size_t from = whole - back;                     /* try longer and longer phrases */
        size_t begin = from < t.count ? t.begin[from] : length;
        offers all = { 0 };
        expected(&all, model, &t, from);
        size_t end = length;
        while (back > 0 && end > begin && isspace((unsigned char)before[end - 1]))
            end--;
        char *part = tool_copy(before + begin, end - begin);
        filter(&all, part, back > 0, out);
        out->replace = length - begin;
        free(part);
        offer_free(&all);
    }
    free(t.copy);
}

void offer_all(const rl_model *model, offers *out)
{
    *out = (offers){ 0 };
    add_elements(out, model, ANYTHING & ~(1u << RL_WIRE));
    add_signs(out, model);
    add_areas(out, model);
}

void offer_free(offers *o)
{
    list_free(&o->word);
    list_free(&o->label);
}

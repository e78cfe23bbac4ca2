/* suspect.c: see suspect.h. */
#include "suspect.h"

#include "offer.h"
#include "report.h"

enum { MOST_FITTING = 6 };

static bool is_other_name(const rl_model *model, const char *word)
{
    return offer_symptom(model, word) >= 0 || offer_inspection(model, word) >= 0 || offer_area(model, word) >= 0;
}

/* Names that fit, for a message. */
static void say_several(const char *command, const char *word, const text_list *fitting)
{
    text names = { 0 };
    for (size_t i = 0; i < fitting->count && i < MOST_FITTING; i++)
        text_add(&names, "%s`%s`", i > 0 ? ", " : "", fitting->item[i]);
    if (fitting->count > MOST_FITTING)
        text_add(&names, " and %zu more", fitting->count - MOST_FITTING);
    report_say("ringlug %s: %zu suspects fit `%s`: %s", command, fitting->count, word, text_get(&names));
    text_free(&names);
}

/* Whether the word is a part of the name or of the label. */
static bool fits(const offers *o, size_t i, const char *word)
{
    return word[0] != '\0' && (text_within(o->word.item[i], word) || text_within(o->label.item[i], word));
}

int suspect_find(const char *command, const rl_model *model, const char *word)
{
    int found = rl_model_find(model, word);
    if (found >= 0)
        return found;
    if (is_other_name(model, word)) {
        report_say("ringlug %s: `%s` is no element and no load: it cannot be at fault", command, word);
        return -1;
    }
    offers o;
    text_list fitting = { 0 };
    offer_all(model, &o);
    for (size_t i = 0; i < o.word.count; i++)
        if (rl_model_find(model, o.word.item[i]) >= 0 && fits(&o, i, word))
            list_add(&fitting, o.word.item[i]);
    const char *near = text_nearest(word, (const char *const *)o.word.item, o.word.count);
    if (fitting.count == 1)
        found = rl_model_find(model, fitting.item[0]);
    else if (fitting.count > 1)
        say_several(command, word, &fitting);
    else if (near != NULL)
        report_say("ringlug %s: nothing is called `%s`; did you mean `%s`?", command, word, near);
    else
        report_say("ringlug %s: nothing is called `%s`", command, word);
    list_free(&fitting);
    offer_free(&o);
    return found;
}

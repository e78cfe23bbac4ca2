/* ask_hint.c: what was probably meant by a line that was not understood.
 *
 * Invariant: nothing here does what it guesses; it only says it.
 */
#include "ask.h"

#include "offer.h"

#include <assert.h>
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

enum { SHORTEST = 4 };   /* letters of a label that are worth a hint */

/* What other prompts call the commands. */
static const struct { const char *word, *command; } elsewhere[] = {
    { "exit", "leave" }, { "quit", "leave" },  { "q", "leave" },  { "bye", "leave" },     { "?", "help" },
    { "h", "help" },     { "delete", "undo" }, { "back", "undo" }, { "write", "save" },
};

static const char *called_elsewhere(const char *word)
{
    for (size_t i = 0; i < sizeof elsewhere / sizeof *elsewhere; i++)
        if (strcmp(elsewhere[i].word, word) == 0)
            return elsewhere[i].command;
    return NULL;
}

/* A lone word that is no name, but perhaps near to one or part of a label. */
static void no_name(ask *a, const char *word)
{
    offers o;
    offer_all(a->s.model, &o);
    const char *near = text_nearest(word, (const char *const *)o.word.item, o.word.count);
    if (near != NULL)
        ask_fault(a, "nothing is called `%s`; did you mean `%s`?", word, near);
    else
        ask_fault(a, "nothing is called `%s`: `list` shows what can be said, `help` the commands", word);
    offer_free(&o);
    if (near == NULL)
        ask_hint_label(a, word, false);
}

bool ask_no_command(ask *a, const char *word, bool alone)
{
    assert(word[0] != '\0');
    char *lower = tool_copy(word, strlen(word));
    for (char *c = lower; *c != '\0'; c++)
        *c = (char)tolower((unsigned char)*c);
    const char *other = called_elsewhere(lower);
    const char *near = text_nearest(lower, prompt_commands, prompt_command_count);
    free(lower);
    if (other != NULL)
        ask_fault(a, "there is no command `%s`: `%s` does that", word, other);
    else if (near != NULL && alone)
        ask_fault(a, "there is no command `%s`; did you mean `%s`?", word, near);
    else if (alone)
        no_name(a, word);
    return other != NULL || alone;
}

/* The longest label that stands in the line, -1: none, or it is the name. */
static int label_in(const offers *o, const char *line)
{
    int best = -1;
    size_t most = SHORTEST - 1;
    for (size_t i = 0; i < o->word.count; i++) {
        size_t length = strlen(o->label.item[i]);
        if (length <= most || !text_within(line, o->label.item[i]))
            continue;
        most = length;
        best = strcmp(o->word.item[i], o->label.item[i]) == 0 ? -1 : (int)i;
    }
    return best;
}

/* How many labels hold the first `length` bytes of the line; sets *one to the last of them. */
static size_t labels_with(const offers *o, const char *line, size_t length, int *one)
{
    char *part = tool_copy(line, length);
    size_t count = 0;
    for (size_t i = 0; i < o->word.count; i++)
        if (text_within(o->label.item[i], part)) {
            *one = (int)i;
            count++;
        }
    free(part);
    return count;
}

/* The line's first words are part of some labels: the longest such part. */
static void hint_part(ask *a, const offers *o, const char *line)
{
    for (size_t length = strlen(line); length >= SHORTEST; length--) {
        int one = -1;
        if ((line[length] != ' ' && line[length] != '\0') || line[length - 1] == ' ')
            continue;
        size_t count = labels_with(o, line, length, &one);
        if (count == 0)
            continue;
        if (count == 1)
            ask_say(a, "(%s is called `%s` here.)", o->label.item[one], o->word.item[one]);
        else
            ask_say(a, "(%zu names fit `%.*s`: `list %.*s` shows them.)", count, (int)length, line, (int)length, line);
        return;
    }
}

void ask_hint_label(ask *a, const char *line, bool known)
{
    offers o;
    offer_all(a->s.model, &o);
    int whole = label_in(&o, line);
    if (whole >= 0)
        ask_say(a, "(%s is called `%s` here.)", o.label.item[whole], o.word.item[whole]);
    else if (!known)
        hint_part(a, &o, line);
    offer_free(&o);
}

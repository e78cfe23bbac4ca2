/* fault.c: what is said when a text cannot be read: what was found, what could
 * have stood there, and what was probably meant.
 *
 * Invariant: one fault for each statement; every argument of a message is
 * short, whatever the text holds.
 */
#include "builder.h"
#include "parse.h"

#include "grammar.tab.h"

#include <assert.h>
#include <string.h>

enum { LONGEST_QUOTE = 60, MOST_SHOWN = 8, MOST_EXPECTED = 256 };

const char *rl_parse_written(rl_parser *p, rl_span span)
{
    size_t length = span.end - span.begin;
    bool clipped = length > LONGEST_QUOTE;
    if (clipped) {
        length = LONGEST_QUOTE;
        while (length > 0 && ((unsigned char)p->original[span.begin + length] & 0xc0) == 0x80)
            length--;
    }
    rl_text text = {.arena = p->arena};
    rl_put_bytes(&text, p->original + span.begin, length);
    if (clipped)
        rl_put(&text, "…");
    return text.bytes;
}

const char *rl_parse_quote(rl_parser *p, rl_span span)
{
    rl_text text = {.arena = p->arena};
    const char *written = rl_parse_written(p, span), *mark = strchr(written, '`') == NULL ? "`" : "\"";
    rl_put(&text, mark);
    rl_put(&text, written);
    rl_put(&text, mark);
    return text.bytes;
}

static void say(rl_parser *p, rl_span at, rl_message id, const char *one, const char *two, const char *three)
{
    p->file->damaged = true;
    if (!p->broken)
        rl_say(p->diag, at, id, one, two, three);
    p->broken = true;
}

void rl_parse_fault(rl_parser *p, rl_span at, rl_message id, const char *one, const char *two)
{
    say(p, at, id, one, two, NULL);
}

/* ---- lists of words ---- */

typedef struct wanted {
    const char *const *list;
    size_t count;
} wanted;

static bool among(wanted w, const char *word)
{
    for (size_t i = 0; i < w.count; i++)
        if (strcmp(w.list[i], word) == 0)
            return true;
    return false;
}

#define AMONG(list, word) among((wanted){(list), sizeof(list) / sizeof *(list)}, (word))

/* The words that begin a statement. */
static const char *const starters[] = {
    "point", "splice", "connector", "feed", "load", "class", "kind", "area", "symptom", "inspection",
    "vehicle", "include", "language", "remove", "grades", "joint", "meter", "backfeed", "pull", "bypass",
    "jumper", "swap", "case", "occasion", "others", "drop", "resistance", "continuity", "supply",
    "opened", "found", "expect",
};

static bool is_listed(const char *text)
{
    size_t count;
    const char *const *words = rl_words(&count);
    return among((wanted){words, count}, text);
}

/* Part of what is called by one name: "a name" stands for all that names may be. */
static bool is_folded(wanted w, const char *item)
{
    static const char *const free_words[] = {"volts", "ohms", "beeper", "silent", "a wire"};
    static const char *const of_outcomes[] = {"sound", "loose", "corroded", "open"};
    static const char *const of_units[] = {"a name", "%"};
    bool name = among(w, "a name");
    if (strcmp(item, "a gauge") == 0)
        return true;
    if (among(w, "a unit"))
        return AMONG(of_units, item);
    if (name && AMONG(free_words, item))
        return true;
    return name && !among(w, "failed") && AMONG(of_outcomes, item);
}

/* What could have stood there, as a reader would name it. */
static size_t fold(wanted w, const char **kept)
{
    size_t count = 0;
    if (among(w, "language")) {
        kept[0] = among(w, "quiet") ? "a name" : "a statement";
        return 1;
    }
    bool outcome = among(w, "a name") && among(w, "sound") && !among(w, "failed");
    for (size_t i = 0; i < w.count; i++)
        if (!is_folded(w, w.list[i]))
            kept[count++] = outcome && strcmp(w.list[i], "a name") == 0 ? "an outcome" : w.list[i];
    return count;
}

static void put_item(rl_text *text, const char *item)
{
    bool quoted = is_listed(item) || strcmp(item, ",") == 0 || strcmp(item, "%") == 0;
    if (quoted)
        rl_put(text, "`");
    rl_put(text, item);
    if (quoted)
        rl_put(text, "`");
}

static const char *wording(rl_parser *p, wanted kept)
{
    rl_text text = {.arena = p->arena};
    size_t shown = kept.count > MOST_SHOWN ? MOST_SHOWN : kept.count;
    rl_put(&text, "");
    for (size_t i = 0; i < shown; i++) {
        if (i > 0)
            rl_put(&text, i + 1 == kept.count ? " or " : ", ");
        put_item(&text, kept.list[i]);
    }
    if (shown < kept.count)
        rl_put(&text, ", …");
    return text.bytes;
}

static const char *found_wording(rl_parser *p, bool at_end)
{
    if (at_end)
        return "the end of the statement";
    return p->last.kind == STRING ? "a string" : rl_parse_quote(p, p->last.span);
}

/* ---- faults with a message of their own ---- */

/* The statement that a plain first word was probably meant to begin: what
 * follows it is no line of evidence. */
static const char *meant_statement(const rl_parser *p)
{
    int kind = p->last.kind;
    if (p->first.kind != NAME || p->tokens < 2 || kind == NAME || kind == COMMA || kind == WIRE_NAME)
        return NULL;
    const char *near = rl_nearest(p->first.text, starters, sizeof starters / sizeof *starters);
    if (near == NULL || kind != NUMBER || p->tokens > 2)
        return near;
    /* NAME NUMBER is more like a reading without its first word. */
    return strcmp(near, "language") == 0 || strcmp(near, "grades") == 0 ? near : NULL;
}

static bool digit_at(const rl_parser *p, size_t offset)
{
    return offset < p->length && p->original[offset] >= '0' && p->original[offset] <= '9';
}

bool rl_parse_first_of_line(const rl_parser *p, rl_span span)
{
    size_t i = span.begin;
    while (i > 0 && (p->original[i - 1] == ' ' || p->original[i - 1] == '\t'))
        i--;
    return i == 0 || p->original[i - 1] == '\n';
}

static bool at_word(const rl_parser *p)
{
    return p->last.text != NULL && p->last.kind != STRING;
}

/* A list goes on with ","; a row does not, nor does a number. */
static bool comma_fault(rl_parser *p, rl_span at, wanted w)
{
    bool in_class = among(w, "loose") && at.begin > 0 && p->original[at.begin - 1] == '%';
    if (at.begin > 0 && digit_at(p, at.begin - 1) && digit_at(p, at.end))
        rl_parse_fault(p, at, RL_MSG_DECIMAL_COMMA, NULL, NULL);
    else if (among(w, "%") || among(w, "when") || among(w, "otherwise") || in_class)
        rl_parse_fault(p, at, RL_MSG_ROW_COMMA, NULL, NULL);
    else
        return false;
    return true;
}

/* True if a message was said. */
static bool special_fault(rl_parser *p, rl_span at, wanted kept)
{
    const char *meant = meant_statement(p);
    bool name_only = kept.count == 1 && (strcmp(kept.list[0], "a name") == 0 || strcmp(kept.list[0], "an outcome") == 0);
    if (p->last.kind == DOTTED && !among(kept, "a string"))
        rl_parse_fault(p, at, RL_MSG_NAME_POINT, rl_parse_quote(p, at), NULL);
    else if (meant != NULL)
        rl_parse_fault(p, p->first.span, RL_MSG_STATEMENT_NEAR, rl_parse_quote(p, p->first.span), meant);
    else if (p->tokens == 1 && at_word(p))
        rl_parse_fault(p, at, RL_MSG_STATEMENT_CLAUSE, rl_parse_quote(p, at), NULL);
    else if (p->tokens > 1 && at_word(p) && rl_parse_first_of_line(p, at) && AMONG(starters, p->last.text))
        rl_parse_fault(p, at, RL_MSG_INDENTED, NULL, NULL);
    else if (name_only && p->last.kind == NUMBER)
        rl_parse_fault(p, at, RL_MSG_NAME_START, rl_parse_quote(p, at), NULL);
    else if (name_only && at_word(p) && rl_is_word(p->last.text))
        rl_parse_fault(p, at, RL_MSG_WORD_TAKEN, rl_parse_quote(p, at), NULL);
    else
        return p->last.kind == COMMA && comma_fault(p, at, kept);
    return true;
}

/* The expected word that the one found is near to. */
static const char *meant_word(const rl_parser *p, wanted w)
{
    const char *words[MOST_EXPECTED];
    size_t count = 0;
    if (!at_word(p))
        return NULL;
    for (size_t i = 0; i < w.count; i++)
        if (is_listed(w.list[i]))
            words[count++] = w.list[i];
    return rl_nearest(p->last.text, words, count);
}

void rl_parse_unexpected(rl_parser *p, rl_span at, bool at_end, const char *const *expected, size_t count)
{
    const char *list[MOST_EXPECTED];
    wanted w = {expected, count};
    assert(count > 0 && count <= MOST_EXPECTED);
    if (p->broken)
        return;
    wanted kept = {list, fold(w, list)};
    if (!at_end && special_fault(p, at, kept))
        return;
    /* Where one word alone could stand, that it is meant need not be asked. */
    const char *meant = at_end || kept.count == 1 ? NULL : meant_word(p, kept);
    say(p, at, meant != NULL ? RL_MSG_SYNTAX_NEAR : RL_MSG_SYNTAX, found_wording(p, at_end), wording(p, kept), meant);
}

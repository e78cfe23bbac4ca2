/* parse.c: the only entry to the grammar, and the owner of its limits.
 *
 * Invariant: the lexer sees a copy of the text in which every byte that may
 * not stand in a file is RL_BAD_BYTE, so that offsets are those of the
 * original and the lexer says each fault where it meets it.  Of one
 * statement at most one fault of syntax is said.
 */
#include "parse.h"

#include "builder.h"
#include "grammar.tab.h"

#include <assert.h>
#include <string.h>

/* ---- bytes ---- */

/* Bytes of the UTF-8 character at `s` of `left` > 0 bytes; 0 if it is none. */
static size_t character_length(const unsigned char *s, size_t left)
{
    size_t length = s[0] < 0x80 ? 1 : s[0] < 0xe0 ? 2 : s[0] < 0xf0 ? 3 : 4;
    if (length == 1)
        return 1;
    if (s[0] < 0xc2 || s[0] > 0xf4 || left < length)
        return 0;
    for (size_t i = 1; i < length; i++)
        if ((s[i] & 0xc0) != 0x80)
            return 0;
    /* Longer than needed, a half of a pair, or beyond the last character. */
    if ((s[0] == 0xe0 && s[1] < 0xa0) || (s[0] == 0xed && s[1] > 0x9f) ||
        (s[0] == 0xf0 && s[1] < 0x90) || (s[0] == 0xf4 && s[1] > 0x8f))
        return 0;
    return length;
}

/* Control characters could rule a terminal; marks of direction and of line
 * ends could show a text other than it is. */
bool rl_parse_is_control(const char *text, size_t left)
{
    const unsigned char *s = (const unsigned char *)text;
    if (s[0] < 0x80)
        return (s[0] < 0x20 && s[0] != '\t' && s[0] != '\n') || s[0] == 0x7f;
    if (s[0] == 0xc2)
        return left >= 2 && s[1] >= 0x80 && s[1] < 0xa0;
    if (s[0] != 0xe2 || left < 3)
        return false;
    return (s[1] == 0x80 && s[2] >= 0xa8 && s[2] <= 0xae) || (s[1] == 0x81 && s[2] >= 0xa6 && s[2] <= 0xa9);
}

/* Copies one character, or marks a byte that may not stand; returns its length. */
static size_t copy_character(rl_parser *p, size_t i)
{
    const char *from = p->original + i;
    size_t left = p->length - i;
    if (*from == '\r' && (left == 1 || from[1] == '\n')) {
        p->copy[i] = ' ';
        return 1;
    }
    size_t length = character_length((const unsigned char *)from, left);
    bool bad = length == 0 || rl_parse_is_control(from, left);
    length += length == 0;
    memcpy(p->copy + i, from, length);
    if (bad) {
        p->copy[i] = RL_BAD_BYTE;
        p->bad_bytes = true;
    }
    return length;
}

static void copy_text(rl_parser *p)
{
    p->copy = rl_arena_raw(p->arena, p->length + 2);
    for (size_t i = 0; i < p->length;) {
        unsigned char byte = (unsigned char)p->original[i];
        if (byte >= 0x20 && byte < 0x7f)
            p->copy[i++] = (char)byte;
        else
            i += copy_character(p, i);
    }
    p->copy[p->length] = p->copy[p->length + 1] = '\0';
}

/* ---- names of what was given up ---- */

static const char *const declarers[] = {
    "vehicle", "class", "kind", "area", "point", "splice", "connector", "feed", "load",
    "symptom", "inspection", "occasion",
};
enum { DECLARERS = sizeof declarers / sizeof *declarers };

/* `name` counts as declared if `word` is a declaring word, or one misspelt. */
static void save_name(rl_parser *p, rl_token word, rl_token name)
{
    if (word.text == NULL || name.text == NULL || word.kind == STRING || name.kind == STRING)
        return;
    if (rl_nearest(word.text, declarers, DECLARERS) == NULL)
        return;
    ast_word *saved = rl_ast_word(p, name.span, name.text);
    if (p->half_last == NULL)
        p->file->half_named = saved;
    else
        p->half_last->next = saved;
    p->half_last = saved;
}

void rl_parse_drop(rl_parser *p)
{
    p->file->damaged = true;
    save_name(p, p->first, p->second);
}

/* Among what is skipped, an indented line may be a statement of its own. */
static void save_skipped(rl_parser *p, rl_token word, rl_token name)
{
    if (p->broken && word.text != NULL && word.span.column > 1 && rl_parse_first_of_line(p, word.span))
        save_name(p, word, name);
}

/* ---- tokens and statements ---- */

static rl_span just_behind(const rl_parser *p, rl_span span)
{
    for (uint32_t i = span.begin; i < span.end; i++)
        span.column += ((unsigned char)p->copy[i] & 0xc0) != 0x80;
    span.begin = span.end;
    return span;
}

/* The place is just behind the last token: there something is missing. */
static int end_statement(rl_parser *p, rl_span *span)
{
    *span = just_behind(p, p->last.span);
    p->open = false;
    return END;
}

static int deliver(rl_parser *p, rl_token token)
{
    if (p->tokens > 1)
        save_skipped(p, p->last, token);
    p->last = token;
    p->tokens++;
    if (p->tokens == 1)
        p->first = token;
    if (p->tokens == 2)
        p->second = token;
    return token.kind;
}

static bool has_text(int kind)
{
    return kind != NUMBER && kind != GAUGE && kind != PERCENT && kind != COMMA && kind != BAD;
}

static rl_token read_token(rl_parser *p, RL_GRAMMAR_STYPE *value)
{
    rl_token token = {.text = NULL};
    value->text = NULL;
    token.kind = rl_lexer_scan(value, &token.span, p->scanner);
    if (token.kind != RL_GRAMMAR_EOF && has_text(token.kind))
        token.text = value->text;
    return token;
}

static void begin_statement(rl_parser *p, rl_token token)
{
    p->open = true;
    p->broken = token.kind == BAD;
    p->tokens = 0;
    p->statements++;
    p->second = (rl_token){.text = NULL};
}

/* Before the first statement nothing may be indented; says so once and skips it. */
static rl_token skip_indented(rl_parser *p, RL_GRAMMAR_STYPE *value, rl_token token)
{
    if (token.kind == RL_GRAMMAR_EOF || token.span.column == 1)
        return token;
    rl_parse_fault(p, token.span, RL_MSG_INDENTED, NULL, NULL);
    while (token.kind != RL_GRAMMAR_EOF && token.span.column != 1) {
        rl_token before = token;
        token = read_token(p, value);
        save_skipped(p, before, token);
    }
    return token;
}

/* A syntax tree takes some twenty times the bytes of its text, and many files may
 * include each other: together they have a bound of their own. */
static void refuse_much(rl_parser *p)
{
    if (p->arena->used <= p->most_memory)
        return;
    rl_span here = {.source = p->source, .begin = p->offset, .end = p->offset, .line = p->line, .column = p->column};
    p->broken = false;
    rl_parse_fault(p, here, RL_MSG_FILE_MUCH, NULL, NULL);
    p->file->refused = true;
}

int rl_parse_token(rl_parser *p, union RL_GRAMMAR_STYPE *value, rl_span *span)
{
    rl_token token = {.kind = RL_GRAMMAR_EOF};
    if (!p->ended && !p->file->refused)
        refuse_much(p);
    if (!p->ended && !p->file->refused && !rl_diag_full(p->diag))
        token = read_token(p, value);
    p->ended = token.kind == RL_GRAMMAR_EOF;
    if (p->open && (p->ended || token.kind == END))
        return end_statement(p, span);
    if (!p->open) {
        token = skip_indented(p, value, token);
        if (token.kind != RL_GRAMMAR_EOF)
            begin_statement(p, token);
    }
    *span = token.span;
    return deliver(p, token);
}

/* ---- the entry ---- */

static bool refused_whole(rl_parser *p)
{
    const unsigned char *bytes = (const unsigned char *)p->original;
    rl_span place = {.source = p->source, .line = p->line, .column = 1};
    if (p->length > AST_MAX_BYTES) {
        rl_parse_fault(p, place, RL_MSG_FILE_LARGE, NULL, NULL);
    } else if (p->length >= 2 && ((bytes[0] == 0xff && bytes[1] == 0xfe) || (bytes[0] == 0xfe && bytes[1] == 0xff))) {
        rl_parse_fault(p, place, RL_MSG_UTF16, NULL, NULL);
    } else {
        return false;
    }
    p->file->refused = true;
    return true;
}

ast_file *rl_parse_within(rl_arena *arena, rl_diag *diag, uint32_t source, size_t most)
{
    assert(source < diag->source_count);
    const rl_source *text = &diag->sources[source];
    rl_parser p = {
        .arena = arena,
        .diag = diag,
        .file = rl_new(arena, ast_file),
        .source = source,
        .original = text->text,
        .length = text->length,
        .line = text->first_line == 0 ? 1 : text->first_line,
        .column = 1,
        .most_memory = most > 0 ? most : AST_MAX_MEMORY,
    };
    p.file->source = source;
    if (refused_whole(&p))
        return p.file;
    copy_text(&p);
    rl_lexer_open(&p);
    if (rl_grammar_parse(&p) != 0)
        p.file->damaged = true;
    return p.file;
}

ast_file *rl_parse(rl_arena *arena, rl_diag *diag, uint32_t source)
{
    return rl_parse_within(arena, diag, source, 0);
}

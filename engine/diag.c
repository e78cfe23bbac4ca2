/* diag.c: sources, messages and growing text.
 *
 * Invariant: what reaches the sink holds no control character that came from
 * the input (the source line excepted, as ringlug.h says), and no more than
 * the limit of errors and of warnings.  Numbers are turned into text by number.c.
 */
#include "diag.h"

#include "number.h"

#include <assert.h>
#include <math.h>
#include <string.h>

enum { DEFAULT_LIMIT = 100, LONGEST_ARGUMENT = 400 };

typedef struct template {
    int number;
    rl_severity severity;
    const char *text;
} template;

static const template templates[] = {
#define RL_MESSAGE(id, number, severity, text) {number, severity, text},
#include "messages.def"
#undef RL_MESSAGE
};

void rl_diag_init(rl_diag *diag, rl_arena *arena, const rl_sink *sink, size_t error_limit)
{
    *diag = (rl_diag){
        .arena = arena,
        .sink = sink,
        .error_limit = error_limit == 0 ? DEFAULT_LIMIT : error_limit,
    };
}

uint32_t rl_diag_source(rl_diag *diag, const char *path, const char *text, size_t length)
{
    if (diag->source_count == diag->source_room) {
        uint32_t room = diag->source_room == 0 ? 8 : 2 * diag->source_room;
        rl_source *more = rl_many(diag->arena, room, rl_source);
        if (diag->source_count > 0)
            memcpy(more, diag->sources, diag->source_count * sizeof *more);
        diag->sources = more;
        diag->source_room = room;
    }
    if (length >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0) {
        text += 3;
        length -= 3;
    }
    diag->sources[diag->source_count] = (rl_source){.path = path, .text = text, .length = length};
    return diag->source_count++;
}

bool rl_diag_full(const rl_diag *diag)
{
    return diag->errors > diag->error_limit;
}

/* ---- growing text ---- */

static void make_room(rl_text *text, size_t more)
{
    if (text->room - text->length > more)
        return;
    size_t room = text->room * 2 > text->length + more ? text->room * 2 : text->length + more + 32;
    char *bytes = rl_arena_raw(text->arena, room);
    if (text->length > 0)
        memcpy(bytes, text->bytes, text->length);
    text->bytes = bytes;
    text->room = room;
}

void rl_put_bytes(rl_text *text, const char *bytes, size_t length)
{
    make_room(text, length);
    if (length > 0)
        memcpy(text->bytes + text->length, bytes, length);
    text->length += length;
    text->bytes[text->length] = '\0';
    assert(text->length < text->room);
}

void rl_put(rl_text *text, const char *string)
{
    rl_put_bytes(text, string, strlen(string));
}

void rl_put_count(rl_text *text, size_t number)
{
    char digits[24];
    size_t at = sizeof digits;
    do {
        digits[--at] = (char)('0' + number % 10);
        number /= 10;
    } while (number > 0);
    rl_put_bytes(text, digits + at, sizeof digits - at);
}

static void put_zeros(rl_text *text, int count)
{
    for (; count > 0; count--)
        rl_put_bytes(text, "0", 1);
}

/* 0.digits x 10^exponent in the shape a person would write. */
static void put_decimal(rl_text *text, const char *digits, int count, int exponent)
{
    enum { SMALLEST = -4, LARGEST = 15 };
    if (exponent < SMALLEST || exponent > LARGEST) {
        rl_put_bytes(text, digits, 1);
        if (count > 1)
            rl_put_bytes(text, ".", 1);
        rl_put_bytes(text, digits + 1, (size_t)count - 1);
        rl_put(text, exponent < 1 ? "e-" : "e");
        rl_put_count(text, (size_t)(exponent < 1 ? 1 - exponent : exponent - 1));
    } else if (exponent <= 0) {
        rl_put(text, "0.");
        put_zeros(text, -exponent);
        rl_put_bytes(text, digits, (size_t)count);
    } else if (count <= exponent) {
        rl_put_bytes(text, digits, (size_t)count);
        put_zeros(text, exponent - count);
    } else {
        rl_put_bytes(text, digits, (size_t)exponent);
        rl_put_bytes(text, ".", 1);
        rl_put_bytes(text, digits + exponent, (size_t)(count - exponent));
    }
}

/* Whether the digits read back as |number|.  Written as d.ddde±x for number.c. */
static bool reads_back(const char *digits, int count, int exponent, double number, rl_text *scratch)
{
    double back;
    scratch->length = 0;
    rl_put_bytes(scratch, digits, (size_t)count);
    rl_put(scratch, exponent < count ? "e-" : "e");
    rl_put_count(scratch, (size_t)(exponent < count ? count - exponent : exponent - count));
    rl_number_fault fault = rl_number_read(scratch->bytes, scratch->length, &back);
    return fault == RL_NUMBER_OK && back == number;
}

static int without_zeros(const char *digits, int count)
{
    while (count > 1 && digits[count - 1] == '0')
        count--;
    return count;
}

void rl_put_number(rl_text *text, double number, int digits)
{
    char found[RL_NUMBER_MOST], room[RL_NUMBER_MOST + 16];
    int exponent, most = digits > 0 && digits < RL_NUMBER_MOST ? digits : RL_NUMBER_MOST;
    rl_text scratch = {.arena = text->arena, .bytes = room, .room = sizeof room};
    if (signbit(number) && !isnan(number) && number != 0)
        rl_put(text, "-");
    number = fabs(number);
    if (number == 0 || !isfinite(number)) {
        rl_put(text, number == 0 ? "0" : isnan(number) ? "nan" : "inf");
        return;
    }
    /* 15 digits carry every shorter decimal exactly, unless the double has lost
     * bits to its exponent; only what they do not carry needs the search. */
    int count = number < 1e-292 ? 1 : most < 15 ? most : 15;
    rl_number_digits(number, count, found, &exponent);
    while (count < most && !reads_back(found, count, exponent, number, &scratch))
        rl_number_digits(number, ++count, found, &exponent);
    put_decimal(text, found, without_zeros(found, count), exponent);
}

/* ---- messages ---- */

/* Bytes of the code point at `s`, 0 if it is none or must not be shown raw:
 * control characters of ASCII and Latin-1, and those that turn text around. */
static size_t showable(const unsigned char *s)
{
    if (s[0] < 0x80)
        return s[0] >= 0x20 && s[0] != 0x7f;
    size_t length = s[0] >= 0xf0 ? 4 : s[0] >= 0xe0 ? 3 : 2;
    if (s[0] < 0xc2 || s[0] > 0xf4)
        return 0;
    for (size_t i = 1; i < length; i++)
        if ((s[i] & 0xc0) != 0x80)
            return 0;
    if (s[0] == 0xc2 && s[1] < 0xa0)
        return 0;
    if (s[0] == 0xe2 && s[1] == 0x80 && (s[2] >= 0xa8 && s[2] <= 0xae))
        return 0;
    if (s[0] == 0xe2 && s[1] == 0x81 && (s[2] >= 0xa6 && s[2] <= 0xa9))
        return 0;
    return length;
}

static void put_escaped(rl_text *text, unsigned char byte)
{
    static const char hex[] = "0123456789abcdef";
    const char escaped[] = {'\\', 'x', hex[byte >> 4], hex[byte & 15]};
    rl_put_bytes(text, escaped, sizeof escaped);
}

static void put_argument(rl_text *text, const char *argument)
{
    const unsigned char *s = (const unsigned char *)argument;
    const unsigned char *end = s + LONGEST_ARGUMENT;
    for (; *s != '\0' && s < end;) {
        size_t length = showable(s);
        if (length == 0) {
            put_escaped(text, *s++);
        } else {
            rl_put_bytes(text, (const char *)s, length);
            s += length;
        }
    }
    if (*s != '\0')
        rl_put(text, "…");
}

static void fill_in(rl_text *text, const char *form, const char *const argument[3])
{
    for (; *form != '\0'; form++) {
        if (form[0] == '%' && form[1] >= '1' && form[1] <= '3') {
            const char *given = argument[*++form - '1'];
            assert(given != NULL);
            put_argument(text, given);
        } else {
            rl_put_bytes(text, form, 1);
        }
    }
}

static size_t characters(const char *text, size_t length)
{
    size_t count = 0;
    for (size_t i = 0; i < length; i++)
        count += ((unsigned char)text[i] & 0xc0) != 0x80;
    return count;
}

/* Finds the line of the source that the span begins in, and what to underline. */
static void show_line(rl_report *report, const rl_source *source, rl_span at)
{
    size_t begin = at.begin < source->length ? at.begin : source->length;
    size_t end = begin, stop = at.end;
    while (begin > 0 && source->text[begin - 1] != '\n')
        begin--;
    while (end < source->length && source->text[end] != '\n')
        end++;
    if (end > begin && source->text[end - 1] == '\r')
        end--;
    if (stop > end)
        stop = end;
    report->line_text = source->text + begin;
    report->line_length = end - begin;
    report->width = stop > at.begin ? characters(source->text + at.begin, stop - at.begin) : 1;
    if (report->width == 0)
        report->width = 1;
}

static void place(const rl_diag *diag, rl_report *report, rl_span at)
{
    if (at.source >= diag->source_count)
        return;
    const rl_source *source = &diag->sources[at.source];
    report->path = source->path;
    report->width = 1;
    if (at.line == 0)
        return;
    report->line = at.line;
    report->column = at.column;
    show_line(report, source, at);
}

static void send(rl_diag *diag, rl_span at, rl_message id, const char *const argument[3], const rl_span *other)
{
    if (diag->sink == NULL || diag->sink->say == NULL)
        return;
    /* The text lives while the sink hears it: a million warnings cost nothing. */
    rl_mark mark = rl_arena_mark(diag->arena);
    rl_text text = {.arena = diag->arena};
    fill_in(&text, templates[id].text, argument);
    rl_report report = {
        .number = templates[id].number,
        .severity = templates[id].severity,
        .text = text.bytes,
    };
    place(diag, &report, at);
    if (other != NULL && other->source < diag->source_count) {
        report.other_path = diag->sources[other->source].path;
        report.other_line = other->line;
        report.other_column = other->column;
    }
    diag->sink->say(diag->sink->user, &report);
    rl_arena_rewind(diag->arena, mark);
}

/* Counts the message and says whether it is to be heard. */
static bool counted(rl_diag *diag, rl_span at, rl_severity severity)
{
    static const char *const none[3] = {NULL, NULL, NULL};
    if (rl_diag_full(diag)) {
        diag->errors += severity == RL_ERROR;
        diag->warnings += severity == RL_WARNING;
        return false;
    }
    size_t *count = severity == RL_ERROR ? &diag->errors : &diag->warnings;
    if (severity == RL_NOTE || ++*count <= diag->error_limit)
        return true;
    if (*count == diag->error_limit + 1)
        send(diag, at, severity == RL_ERROR ? RL_MSG_TOO_MANY_ERRORS : RL_MSG_TOO_MANY_WARNINGS, none, NULL);
    return false;
}

void rl_say(rl_diag *diag, rl_span at, rl_message id, const char *one, const char *two, const char *three)
{
    const char *const argument[3] = {one, two, three};
    assert(id < RL_MSG_COUNT);
    if (counted(diag, at, templates[id].severity))
        send(diag, at, id, argument, NULL);
}

void rl_say_also(rl_diag *diag, rl_span at, rl_message id, const char *one, const char *two,
                 const char *three, rl_span other)
{
    const char *const argument[3] = {one, two, three};
    assert(id < RL_MSG_COUNT);
    if (counted(diag, at, templates[id].severity))
        send(diag, at, id, argument, &other);
}

/* ---- the nearest word ---- */

enum { LONGEST_WORD = 63 };

static int fold(char c)
{
    return c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : (unsigned char)c;
}

static int least(int a, int b)
{
    return a < b ? a : b;
}

/* Edits between two words; swapping neighbours is one, a difference of case none. */
static int edits(const char *a, int m, const char *b, int n)
{
    int row[3][LONGEST_WORD + 1];
    assert(m <= LONGEST_WORD && n <= LONGEST_WORD);
    for (int j = 0; j <= n; j++)
        row[0][j] = j;
    for (int i = 1; i <= m; i++) {
        int *now = row[i % 3], *last = row[(i + 2) % 3], *before = row[(i + 1) % 3];
        now[0] = i;
        for (int j = 1; j <= n; j++) {
            int differ = fold(a[i - 1]) != fold(b[j - 1]);
            now[j] = least(least(last[j], now[j - 1]) + 1, last[j - 1] + differ);
            if (i > 1 && j > 1 && fold(a[i - 1]) == fold(b[j - 2]) && fold(a[i - 2]) == fold(b[j - 1]))
                now[j] = least(now[j], before[j - 2] + 1);
        }
    }
    return row[m % 3][n];
}

const char *rl_nearest(const char *word, const char *const *candidates, size_t count)
{
    const char *nearest = NULL;
    size_t length = strlen(word);
    if (length > LONGEST_WORD)
        return NULL;
    /* One slip in two letters, two in five, three in eight and more. */
    int bound = least(3, ((int)length + 1) / 3);
    for (size_t i = 0; i < count; i++) {
        size_t other = strlen(candidates[i]);
        if (other > LONGEST_WORD || (other > length ? other - length : length - other) > (size_t)bound)
            continue;
        int distance = edits(word, (int)length, candidates[i], (int)other);
        if (distance <= bound) {
            nearest = candidates[i];
            bound = distance - 1;
        }
    }
    return nearest;
}

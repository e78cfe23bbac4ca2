/* text.c: growing text, lists of strings, nearest words and a checksum.
 *
 * Invariant: see text.h; every allocation of the tool's own goes through
 * tool_take and tool_grow, which never return NULL.
 */
#include "text.h"

#include "status.h"

#include <assert.h>
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void no_memory(void)
{
    fputs("ringlug: out of memory\n", stderr);
    exit(TOOL_MACHINE);
}

void *tool_take(size_t size)
{
    void *piece = calloc(1, size > 0 ? size : 1);
    if (piece == NULL)
        no_memory();
    return piece;
}

void *tool_grow(void *piece, size_t count, size_t size)
{
    assert(size > 0);
    if (count > SIZE_MAX / 2 / size)
        no_memory();
    void *grown = realloc(piece, count > 0 ? count * size : 1);
    if (grown == NULL)
        no_memory();
    return grown;
}

char *tool_copy(const char *bytes, size_t length)
{
    char *copy = tool_take(length + 1);
    memcpy(copy, bytes, length);
    return copy;
}

static void reserve(text *t, size_t more)
{
    if (t->room - t->length > more)
        return;
    size_t room = t->room < 64 ? 64 : t->room;
    while (room - t->length <= more)
        room *= 2;
    t->bytes = tool_grow(t->bytes, room, 1);
    t->room = room;
}

void text_put(text *t, const char *bytes, size_t length)
{
    assert(bytes != NULL);
    reserve(t, length);
    memcpy(t->bytes + t->length, bytes, length);
    t->length += length;
    t->bytes[t->length] = '\0';
}

void text_add_list(text *t, const char *format, va_list list)
{
    va_list again;
    assert(format != NULL);
    va_copy(again, list);
    int length = vsnprintf(NULL, 0, format, list);
    assert(length >= 0);
    reserve(t, (size_t)length);
    vsnprintf(t->bytes + t->length, (size_t)length + 1, format, again);
    va_end(again);
    t->length += (size_t)length;
}

void text_add(text *t, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    text_add_list(t, format, list);
    va_end(list);
}

void text_clear(text *t)
{
    t->length = 0;
    if (t->bytes != NULL)
        t->bytes[0] = '\0';
}

void text_trim(text *t)
{
    while (t->length > 0 && t->bytes[t->length - 1] == ' ')
        t->bytes[--t->length] = '\0';
}

void text_free(text *t)
{
    free(t->bytes);
    *t = (text){ 0 };
}

const char *text_get(const text *t)
{
    return t->bytes != NULL ? t->bytes : "";
}

void list_add(text_list *list, const char *item)
{
    assert(item != NULL);
    if (list->count == list->room) {
        list->room = list->room * 2 + 8;
        list->item = tool_grow(list->item, list->room, sizeof *list->item);
    }
    list->item[list->count++] = tool_copy(item, strlen(item));
}

void list_add_new(text_list *list, const char *item)
{
    for (size_t i = 0; i < list->count; i++)
        if (strcmp(list->item[i], item) == 0)
            return;
    list_add(list, item);
}

void list_drop(text_list *list, size_t index)
{
    assert(index < list->count);
    free(list->item[index]);
    memmove(list->item + index, list->item + index + 1,
            (list->count - index - 1) * sizeof *list->item);
    list->count--;
}

void list_free(text_list *list)
{
    for (size_t i = 0; i < list->count; i++)
        free(list->item[i]);
    free(list->item);
    *list = (text_list){ 0 };
}

/* Edits between two words, an exchange of neighbours counting one. */
enum { LONGEST = 40 };
static int smallest(int a, int b) { return a < b ? a : b; }
static int distance(const char *a, size_t n, const char *b, size_t m)
{
    int d[LONGEST + 1][LONGEST + 1];
    for (size_t i = 0; i <= n; i++)
        d[i][0] = (int)i;
    for (size_t j = 0; j <= m; j++)
        d[0][j] = (int)j;
    for (size_t i = 1; i <= n; i++)
        for (size_t j = 1; j <= m; j++) {
            int best = smallest(d[i - 1][j] + 1, d[i][j - 1] + 1);
            best = smallest(best, d[i - 1][j - 1] + (a[i - 1] != b[j - 1]));
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
                best = smallest(best, d[i - 2][j - 2] + 1);
            d[i][j] = best;
        }
    return d[n][m];
}

const char *text_nearest(const char *word, const char *const *words, size_t count)
{
    size_t n = strlen(word);
    if (n == 0 || n > LONGEST)
        return NULL;
    int best = smallest(3, (int)(n + 1) / 3) + 1;   /* one slip in two letters, two in five, three in eight and more */
    const char *nearest = NULL;
    for (size_t i = 0; i < count; i++) {
        size_t m = strlen(words[i]);
        if (m > LONGEST)
            continue;
        int edits = distance(word, n, words[i], m);
        if (edits < best) {
            best = edits;
            nearest = words[i];
        }
    }
    return nearest;
}

int text_within(const char *whole, const char *part)
{
    size_t n = strlen(part), m = strlen(whole);
    for (size_t at = 0; at + n <= m; at++) {
        size_t i = 0;
        while (i < n && tolower((unsigned char)whole[at + i]) == tolower((unsigned char)part[i]))
            i++;
        if (i == n)
            return 1;
    }
    return 0;
}

uint32_t text_checksum(const char *bytes, size_t length)
{
    uint32_t sum = 0xFFFFFFFFu;
    for (size_t i = 0; i < length; i++) {
        sum ^= (unsigned char)bytes[i];
        for (int bit = 0; bit < 8; bit++)
            sum = (sum >> 1) ^ (0xEDB88320u & (0u - (sum & 1u)));
    }
    return ~sum;
}

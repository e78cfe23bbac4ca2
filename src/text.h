/* text.h: growing text, and small helpers on strings.
 *
 * Invariant: `bytes` is NULL or NUL-terminated.  Running out of memory ends
 * the program with status 3 and a message: no caller has to check.
 */
#ifndef TEXT_H
#define TEXT_H

#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

typedef struct text {
    char *bytes;
    size_t length, room;
} text;

void text_add(text *t, const char *format, ...) __attribute__((format(printf, 2, 3)));
void text_add_list(text *t, const char *format, va_list list);
void text_put(text *t, const char *bytes, size_t length);
void text_clear(text *t);
void text_trim(text *t);        /* spaces at the end */
void text_free(text *t);
/* The bytes, "" for a text nothing was added to. */
const char *text_get(const text *t);

/* A list of owned strings. */
typedef struct text_list {
    char **item;
    size_t count, room;
} text_list;
void list_add(text_list *list, const char *item);
void list_add_new(text_list *list, const char *item);   /* unless it is there */
void list_drop(text_list *list, size_t index);
void list_free(text_list *list);

void *tool_take(size_t size);                       /* zeroed; never NULL */
void *tool_grow(void *piece, size_t count, size_t size);
char *tool_copy(const char *bytes, size_t length);

/* The word nearest to `word`, or NULL if none is near enough to be meant. */
const char *text_nearest(const char *word, const char *const *words, size_t count);
/* Whether `part` stands in `whole`, ASCII case aside; "" always does. */
int text_within(const char *whole, const char *part);
uint32_t text_checksum(const char *bytes, size_t length);   /* CRC-32 */

#endif

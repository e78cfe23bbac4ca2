/* show.h: a message as the tool prints it, for tests that compare to the letter. */
#ifndef SHOW_H
#define SHOW_H

#include "ringlug.h"

#include <stddef.h>

/* Text that grows; a test's own, on malloc. */
typedef struct shown {
    char *text;
    size_t length, room;
} shown;

void show_put(shown *out, const char *bytes, size_t length);
/* Appends the message, its source line and its caret line. */
void show_report(shown *out, const rl_report *report);
/* The whole file, NUL-terminated, on malloc; NULL if it cannot be read. */
char *show_file(const char *path, size_t *length);

#endif

/* journal.h: what was accepted at the prompt, on disk before the next prompt. */
#ifndef JOURNAL_H
#define JOURNAL_H

#include "text.h"

#include <stdbool.h>

typedef struct journal {
    int fd;             /* -1: closed.  Locked as long as it is open. */
    char *path;
} journal;

/* Opens a journal of one's own for `rules` (or for `case_file`, unless NULL: beside it, or in
 * the user's state folder where that cannot be written).  If
 * another one was left unfinished, *left is its path (to be freed), else
 * NULL.  False, with *why set, if no journal can be kept. */
bool journal_open(journal *j, const char *rules, const char *case_file, char **left, text *why);
/* Appends one record and brings it to disk. */
bool journal_add(journal *j, const char *record);
/* The good records of a journal; lines that are torn or altered are counted in *bad. */
bool journal_read(const char *path, text_list *records, size_t *bad);
/* The work is safe elsewhere: the journal is emptied and removed. */
bool journal_finish(journal *j);
/* Closes and leaves it to be taken up later. */
void journal_leave(journal *j);
/* Puts a left journal aside, under a name that is not taken up; *aside is that name. */
bool journal_put_aside(const char *left, char **aside);

#endif

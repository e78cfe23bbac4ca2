/* caselog.h: the club's case log: one case file that proven cases are appended to.
 *
 * Each case stands between two comments of the tool's own,
 *     # closed 2031-05-17 tag 0123456789abcdef
 *     case "2031-17" on marsh-tractor "rear lamps dim"
 *     …
 *     # end 0123456789abcdef
 * and what others write into the file is left as it is.
 *
 * Invariants: an append is wholly in the file or not at all, or leaves a tail
 * that the next append turns into comments; whoever writes holds the lock; a
 * tag stands in the file once, and so does a name that was given here.
 */
#ifndef CASELOG_H
#define CASELOG_H

#include "text.h"

#include <stdbool.h>

typedef struct caselog_case {
    const char *tag;        /* says that it is this case and no other: caselog_new_tag or caselog_tag_of */
    const char *name;       /* wanted; gets a number if it is taken */
    const char *vehicle;
    const char *label;      /* or NULL */
    const char *lines;      /* of the case, each with its end */
} caselog_case;

typedef enum caselog_result {
    CASELOG_ADDED,
    CASELOG_THERE,          /* a whole case of this tag is in the log already: nothing was written */
    CASELOG_FAILED          /* the log is as it was, or ends in a torn tail; why was said */
} caselog_result;

typedef struct caselog_note {
    text name;              /* of the case in the log */
    size_t torn;            /* lines of an earlier append, cut off, that are comments now */
    bool others;            /* the log holds cases of other vehicles too */
} caselog_note;

enum { CASELOG_TAG = 16 };  /* letters of a tag */

/* Appends and brings to disk.  Waits some seconds for another writer. */
caselog_result caselog_append(const char *path, const caselog_case *c, caselog_note *note, text *why);
/* Whether a whole case of this tag is in the log; sets *name to its name there. */
bool caselog_has(const char *path, const char *tag, text *name);
/* The log: `option`, else RINGLUG_LOG, else cases.case in the user's data folder, which is made.
 * False, with *why set, if there is no place for it. */
bool caselog_place(const char *option, text *path, text *why);
/* A tag that is of this one closing. */
void caselog_new_tag(char tag[CASELOG_TAG + 1]);
/* A tag that follows from a text: the same case has the same. */
void caselog_tag_of(const char *bytes, size_t length, char tag[CASELOG_TAG + 1]);
void caselog_note_free(caselog_note *note);

#endif

/* cases.h: going through the cases of a file.
 *
 * Invariant: one bad case stops no other; the gravest status is what is returned.
 */
#ifndef CASES_H
#define CASES_H

#include "session.h"

typedef struct cases {
    session *s;
    const char *command;        /* whose messages these are */
    const char *only;           /* the name of the one case asked for, or NULL */
    int (*visit)(void *user, rl_case *c);   /* returns an exit status */
    void *user;
} cases;

/* Visits each case of the files, or those of the name asked for.  A file without any
 * is at fault; where one case is asked for, only if no file has it. */
int cases_visit(const cases *all, char *const *path, int count);
/* The exit status of what a case came to.  A contradiction is said on stderr at the
 * last line of its set, for scripts and for those who read nothing else. */
int cases_status(session *s, rl_case *c, rl_status status);

#endif

/* session.h: the context and the model that a command works with. */
#ifndef SESSION_H
#define SESSION_H

#include "files.h"
#include "ringlug.h"

typedef struct session {
    folders folders;
    rl_context *context;
    rl_model *model;
    size_t errors, warnings;    /* said so far */
    bool own;                   /* cases of other vehicles are left out, and not faults */
    bool foreign;               /* a case of another vehicle was an error */
} session;

/* Makes the context and reads the rules; messages go to stderr.  `memory_mib`
 * 0: the default bound.  Returns an exit status; close it in any case. */
int session_open(session *s, const char *rules, size_t memory_mib);
void session_close(session *s);
/* Reads a case file.  *out is NULL if it could not be read at all. */
int session_book(session *s, const char *path, rl_book **out);
/* The exit status of what the library returned; RL_MEMORY and RL_WIDE are said. */
int session_status(rl_status status);
/* Says an error of the tool's own at a line of a case, in the form of all diagnostics. */
void session_say(session *s, const rl_line *line, const char *said);

#endif

/* ask.h: the state of the prompt, shared by its parts. */
#ifndef ASK_H
#define ASK_H

#include "casefile.h"
#include "caselog.h"
#include "input.h"
#include "journal.h"
#include "page.h"
#include "session.h"
#include "term.h"

typedef struct ask {
    session s;
    screen sc;
    input *in;
    bool terminal;
    rl_book *book;              /* owner of a loaded case, else NULL */
    rl_case *c;
    casefile file;
    journal j;
    char *left;                 /* an unfinished journal that may be taken up, or NULL */
    text_list saved;            /* files written by `save`: they may be written again */
    const char *log;            /* the case log that was asked for, or NULL */
    char tag[CASELOG_TAG + 1];  /* of a closing that did not come to its end; "": none */
    bool logged;                /* the case is in the log already: a crash came between that and the journal's end */
    bool dirty;                 /* something is not in a case file yet */
    bool contradictory;         /* the case contradicts itself already */
    bool done;
    int status;                 /* what leaving returns so far */
    size_t number;              /* of the line being read */
} ask;

/* ---- ask_do.c: what a line does ---- */

/* Does one line: evidence, a command, or nothing. */
void ask_line(ask *a, const char *line, size_t length);
/* Takes a line of evidence, brings it to disk, answers briefly unless `quiet`. */
rl_status ask_accept(ask *a, const char *line, size_t length, const char *path, size_t number, bool quiet);
/* Takes back line `index` of the case. */
rl_status ask_withdraw(ask *a, size_t index);
/* Prints a sentence of the tool's own, wrapped. */
void ask_say(ask *a, const char *format, ...) __attribute__((format(printf, 2, 3)));
/* Says on stderr why a line is at fault, and marks it. */
void ask_fault(ask *a, const char *format, ...) __attribute__((format(printf, 2, 3)));
/* Marks that the machine failed; says why on stderr unless NULL; ends the prompt. */
void ask_failed(ask *a, const char *what);

/* Says a status that ends in no answer; the machine's failures end the prompt. */
void ask_no_answer(ask *a, rl_status status);
/* Writes a record; without it on disk the change must not stand. */
bool ask_record(ask *a, char sort, const char *line);
/* The element that is called so, or is the only one with this in its label; -1: none, said. */
int ask_element(ask *a, const char *words);

/* ---- ask_repair.c: the repair, its proof, and the case log ---- */

/* The commands `repair [X] [done]` and `close [anyway] [X STATE ...]`. */
void ask_repair(ask *a, const char *rest);
void ask_close(ask *a, const char *rest);
/* After a line of a case that has an occasion after a repair: says how far it is
 * proved, and what is suspect still.  False: there is no such occasion. */
bool ask_proof(ask *a);
/* Of a journal that was left: whether its case was closed, and is in the log; says so. */
bool ask_closed(ask *a, const text_list *records);

/* ---- ask_hint.c: what was probably meant by a line that was not understood ---- */

/* Says what was meant by `word`, which begins no evidence and is no command
 * either; `alone`: it is the whole line.  False: nothing was said. */
bool ask_no_command(ask *a, const char *word, bool alone);
/* The name of what the line calls by its label; `known`: its first word begins evidence. */
void ask_hint_label(ask *a, const char *line, bool known);

/* ---- ask_keep.c: what outlives the prompt ---- */

/* Opens the journal; offers to go on with one that was left.  False: said, stop. */
bool ask_keep_open(ask *a, const char *rules, const char *case_file);
/* The command `resume`. */
void ask_resume(ask *a);
/* Writes the case to its own file, or to `path`. */
bool ask_save(ask *a, const char *path);
/* Saves or keeps what is to be kept, and ends. */
void ask_leave(ask *a);

#endif

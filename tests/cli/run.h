/* run.h: running the tool in a test, without a shell.
 *
 * Invariant: every program started here is waited for, and no test waits
 * longer than RUN_PATIENCE seconds for an answer that does not come.
 */
#ifndef RUN_H
#define RUN_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

enum { RUN_PATIENCE = 30, RUN_ARGUMENTS = 16 };

/* What a finished program left: texts are NUL-terminated, run_free frees them. */
typedef struct run {
    int status;             /* exit status, or 128 + the signal */
    char *out, *err;
    size_t out_length, err_length;
} run;

/* Runs the tool with arguments (NULL-terminated list) and `input` as its
 * standard input.  The environment has HOME and XDG_STATE_HOME in the
 * folder of the test, RINGLUG_RULES at the shipped rules, UTF-8. */
run run_tool(const char *input, ...);
/* The same with standard output going to `path`. */
run run_tool_into(const char *path, ...);
void run_free(run *r);

/* A program on the other side of pipes or of a pseudo-terminal. */
typedef struct talk {
    pid_t pid;
    int to, from;           /* the same descriptor for a terminal */
    char *heard;            /* all that it printed so far */
    size_t length, room;
    size_t seen;            /* of it, how much talk_until has passed */
} talk;
talk talk_pipe(const char *first, ...);
talk talk_terminal(const char *first, ...);
/* A terminal of so many columns; 0: it does not say.  The arguments follow. */
talk talk_columns(size_t columns, ...);
void talk_say(talk *t, const char *text);
/* Waits until `text` is printed; fails the test if it never is. */
void talk_until(talk *t, const char *text);
/* Waits for the prompt of a terminal, and until it takes single keys: libedit
 * prints the prompt first and leaves the line mode of the terminal after that. */
void talk_prompt(talk *t);
/* Ends it by SIGKILL, as a crash would. */
void talk_kill(talk *t);
/* Closes its input and returns its exit status. */
int talk_end(talk *t);

/* The folder of this test program, empty at its start. */
const char *run_folder(void);
/* A path in it (static memory, four at a time), and a file there. */
const char *run_path(const char *name);
const char *run_file(const char *name, const char *content);
/* The content of a file, to be freed; NULL if there is none. */
char *run_content(const char *path);
/* Makes and removes the folder: cmocka group setup and teardown. */
int run_setup(void **state);
int run_teardown(void **state);

/* Path of a file of tests/data/cli. */
const char *run_data(const char *name);
/* Fails the test unless `part` is in the text, or if it is. */
void run_has(const char *whole, const char *part);
void run_has_not(const char *whole, const char *part);
/* How often. */
size_t run_count(const char *whole, const char *part);
/* Columns of the widest line of a UTF-8 text. */
size_t run_widest(const char *text);
/* Makes every run of white space one space, in place: texts are wrapped. */
void run_flatten(char *text);
/* Whether a text holds a control character other than the line end. */
bool run_has_controls(const char *text, size_t length);

#endif

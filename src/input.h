/* input.h: lines from a terminal (libedit) or from anything else. */
#ifndef INPUT_H
#define INPUT_H

#include "ringlug.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct input input;

/* `terminal`: edit lines, keep a history, complete names of `model`. */
input *input_open(bool terminal, const rl_model *model);
void input_close(input *in);
/* The next line without its end, or NULL at the end of the input; valid until
 * the next call.  `prompt` is shown on a terminal only.  A line that is too
 * long is cut, and *too_long set. */
const char *input_line(input *in, const char *prompt, size_t *length, bool *too_long);
/* Whether the last line was given up by the interrupt key: it is empty then. */
bool input_cancelled(const input *in);
/* Puts a line into the history, as if it had been typed. */
void input_remember(input *in, const char *line);

#endif

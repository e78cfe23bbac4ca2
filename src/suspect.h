/* suspect.h: the suspect that a command line names.
 *
 * Invariant: a whole name wins over a part; of parts of names and labels only one that fits alone is taken.
 */
#ifndef SUSPECT_H
#define SUSPECT_H

#include "ringlug.h"

/* The element that is called `word`, or alone has it in its name or label; -1: said why not. */
int suspect_find(const char *command, const rl_model *model, const char *word);

#endif

/* disk.h: a context that reads from the disk, for tests and bench programs. */
#ifndef HELD_DISK_H
#define HELD_DISK_H

#include "ringlug.h"

/* Ends the program where there is no memory; errors go to standard error.  A
 * folder of NULL: included files are looked for beside the file only. */
rl_context *disk_context(const char *rules_folder);
rl_model *disk_model(rl_context *context, const char *path);
/* The first case of the file, which has to be whole; its book is never freed. */
rl_case *disk_case(rl_context *context, const rl_model *model, const char *path);
/* Ends the program, saying so, unless the status is RL_OK. */
void disk_must(rl_status status, const char *what);

#endif

/* options.h: the options of a command line, in one way for all commands. */
#ifndef OPTIONS_H
#define OPTIONS_H

#include <stdbool.h>
#include <stddef.h>

/* One option: a flag if `flag` is set, one with a whole number if `count` is,
 * one with a text if `word` is. */
typedef struct option_spec {
    const char *name;           /* "--json" */
    bool *flag;
    size_t *count;
    size_t least, most;         /* of count */
    const char **word;
} option_spec;

typedef struct usage {
    const char *command;        /* "rank" */
    const char *help;           /* the whole text of --help */
    const option_spec *option;
    size_t options;
    int least, most;            /* operands; most -1: any number */
    const char *const *operand; /* names of the least of them */
} usage;

/* Reads argv[0..argc), the words behind the command.  Operands are moved to
 * the front and counted in *operands.  Returns -1 to go on, else the exit
 * status (0 after --help; 2, said on stderr). */
int options_read(const usage *u, int argc, char **argv, int *operands);

#endif

/* main.c: finds the command, and makes sure that what was printed arrived.
 *
 * Invariant: output that cannot be written is status 3, never silence; that is
 * why SIGPIPE is ignored and standard output is closed here.
 */
#include "commands.h"
#include "report.h"
#include "status.h"
#include "text.h"

#include <errno.h>
#include <locale.h>
#include <signal.h>
#include <string.h>

#ifndef RINGLUG_VERSION
#define RINGLUG_VERSION "1.0"
#endif

typedef struct command {
    const char *name;
    int (*run)(int argc, char **argv);
    const char *arguments, *does;
} command;

static const command table[] = {
    { "ask", cmd_ask, "RULES [CASEFILE]", "take findings line by line, answer each" },
    { "audit", cmd_audit, "RULES", "what the rules cannot tell or contradict" },
    { "check", cmd_check, "RULES [CASEFILE...]", "all errors, and whether expectations hold" },
    { "close", cmd_close, "RULES CASEFILE", "append a proven case to the case log" },
    { "rank", cmd_rank, "RULES CASEFILE...", "rank the suspects, with the next tests" },
    { "rehearse", cmd_rehearse, "RULES", "play drawn faults against the advice" },
    { "repair", cmd_repair, "RULES CASEFILE [SUSPECT]", "how to mend a suspect, and what proves it" },
    { "round", cmd_round, "RULES", "list the readings of a round before trouble" },
    { "simulate", cmd_simulate, "RULES", "draw cases from the rules themselves" },
    { "why", cmd_why, "RULES CASEFILE SUSPECT", "what speaks for and against a suspect" },
};
enum { COMMANDS = sizeof table / sizeof *table };

static int print_help(void)
{
    fputs("usage: ringlug COMMAND RULES [ARGUMENTS]\n\n"
          "Finds the fault in a vehicle's ground system from what is seen and measured.\n\n", stdout);
    for (size_t i = 0; i < COMMANDS; i++)
        printf("  %-8s %-24s %s\n", table[i].name, table[i].arguments, table[i].does);
    fputs("\n`ringlug COMMAND --help` tells more; `ringlug --version` the version.\n", stdout);
    return TOOL_DONE;
}

static int unknown(const char *word)
{
    const char *names[COMMANDS];
    for (size_t i = 0; i < COMMANDS; i++)
        names[i] = table[i].name;
    const char *nearest = text_nearest(word, names, COMMANDS);
    if (nearest != NULL)
        report_say("ringlug: there is no command `%s`; did you mean `%s`? (see: ringlug --help)", word, nearest);
    else
        report_say("ringlug: there is no command `%s` (see: ringlug --help)", word);
    return TOOL_USAGE;
}

static int run(int argc, char **argv)
{
    if (argc < 2) {
        report_say("ringlug: a command is missing (see: ringlug --help)");
        return TOOL_USAGE;
    }
    if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0)
        return print_help();
    if (strcmp(argv[1], "--version") == 0) {
        puts("ringlug " RINGLUG_VERSION);
        return TOOL_DONE;
    }
    for (size_t i = 0; i < COMMANDS; i++)
        if (strcmp(argv[1], table[i].name) == 0)
            return table[i].run(argc - 2, argv + 2);
    return unknown(argv[1]);
}

int main(int argc, char **argv)
{
    setlocale(LC_CTYPE, "");
    signal(SIGPIPE, SIG_IGN);
    int status = run(argc, argv);
    bool failed = fflush(stdout) != 0 || ferror(stdout);
    if (fclose(stdout) != 0 || failed) {
        if (errno != EPIPE)   /* who reads `… | head` has all that he wants */
            fprintf(stderr, "ringlug: cannot write standard output: %s\n", strerror(errno));
        status = TOOL_MACHINE;
    }
    return status;
}

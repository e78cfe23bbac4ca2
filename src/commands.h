/* commands.h: one function for each command; `argv` holds the words behind
 * the command's name, the result is the exit status. */
#ifndef COMMANDS_H
#define COMMANDS_H

int cmd_ask(int argc, char **argv);
int cmd_audit(int argc, char **argv);
int cmd_check(int argc, char **argv);
int cmd_close(int argc, char **argv);
int cmd_rank(int argc, char **argv);
int cmd_round(int argc, char **argv);
int cmd_rehearse(int argc, char **argv);
int cmd_repair(int argc, char **argv);
int cmd_why(int argc, char **argv);
int cmd_simulate(int argc, char **argv);

#endif

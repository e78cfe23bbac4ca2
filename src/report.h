/* report.h: how a diagnostic looks: place, text, source line, caret.
 *
 * Invariant: it is made safe, and no line of it but the source's is wider than the terminal.
 */
#ifndef REPORT_H
#define REPORT_H

#include "ringlug.h"

#include <stdio.h>

void report_print(FILE *out, const rl_report *report);
/* A message without a place, on standard error, after what standard output holds; the line end is added. */
void report_say(const char *format, ...) __attribute__((format(printf, 1, 2)));

#endif

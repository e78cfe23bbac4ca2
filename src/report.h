/* report.h: how a diagnostic looks: place, text, source line, caret. */
#ifndef REPORT_H
#define REPORT_H

#include "ringlug.h"

#include <stdio.h>

void report_print(FILE *out, const rl_report *report);

#endif

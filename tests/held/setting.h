/* setting.h: one held vehicle, its model and a case on it, for tests that ask and compare.
 *
 * Invariant: whoever opens one closes it, and then every piece of memory is back.
 */
#ifndef SETTING_H
#define SETTING_H

#include "held.h"

typedef struct setting {
    held shelf;
    rl_context *context;
    rl_model *model;
    rl_case *c;
} setting;

/* Rules, which may include "base.gnd" of small.h, and lines of a case. */
void open_setting(setting *s, const char *rules, const char *lines);
/* The same with so many bytes for exact answers; 0: as the library has it. */
void open_setting_within(setting *s, const char *rules, const char *lines, size_t memory_bound);
void close_setting(setting *s);

#endif

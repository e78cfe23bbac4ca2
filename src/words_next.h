/* words_next.h: how it is said what to do next: test on or repair, two tests ahead.
 *
 * Invariant: everything that is added to a text here is safe to print.
 */
#ifndef WORDS_NEXT_H
#define WORDS_NEXT_H

#include "ringlug.h"
#include "text.h"

/* The sentences that follow the sum of a case: stop and repair, or which test.
 * `best`: the test of most bits per minute, or NULL; it is named where none saves minutes. */
void words_step(text *out, const rl_model *model, const rl_outlook *outlook, const rl_test *best);
/* "repair at once: X, if that was not it Y, and so on" */
void words_repairs(text *out, const rl_model *model, const rl_outlook *outlook);
/* What came out of a first test: "dim", "50 mV to 0.1 V". */
void words_follow(text *out, const rl_test *first, const rl_follow *follow);

#endif

/* words_repair.h: how a repair and its proof are said.
 *
 * Invariant: everything that is added to a text here is safe to print.
 */
#ifndef WORDS_REPAIR_H
#define WORDS_REPAIR_H

#include "ringlug.h"
#include "text.h"

#include <stdbool.h>

/* "drop tail_left from rear N V also plate": the line to type, N to be filled in. */
void words_proof_line(text *out, const rl_model *model, const rl_proof_reading *reading);
/* How to take it, what it should read, and what a bad one would. */
void words_proof_how(text *out, const rl_model *model, const rl_proof_reading *reading);
/* What a reading that was taken says. */
void words_taken(text *out, const rl_taken *taken);
/* What is still there, or still to be seen; nothing if nothing is. */
void words_still(text *out, const rl_case *c, const rl_proof *proof);
void words_unseen(text *out, const rl_model *model, const rl_proof *proof);
/* Whether a reading of the proof is still needed. */
bool words_reading_needed(const rl_proof *proof);
/* The sentence on how far the repair is proved. */
void words_verdict(text *out, const rl_model *model, size_t element, const rl_proof *proof);
const char *words_verdict_word(rl_verdict verdict);   /* "none", "failed", "open", "doubtful", "confirmed" */

#endif

/* words_audit.h: how an audit of the rules is said.
 *
 * Invariant: everything that is added to a text here is safe to print.
 */
#ifndef WORDS_AUDIT_H
#define WORDS_AUDIT_H

#include "ringlug.h"
#include "text.h"

/* "frame rail stud (frame), rear stud (rear)": the elements of a group, each once; at
 * most so many of them (0: all), then how many more. */
void words_alike_elements(text *out, const rl_model *model, const rl_alike *group, size_t most);
/* The one state of all its faults; RL_SOUND: they have several. */
rl_state words_alike_state(const rl_alike *group);
/* What would tell them apart, in words: tests, then what is missing where none does; of tests,
 * of names and of what is missing at most so many (0: all). */
void words_separated(text *out, const rl_model *model, const rl_alike *group, size_t most);
/* "a from b and c": what test `step` of the group tells. */
void words_told(text *out, const rl_model *model, const rl_alike *group, size_t step, size_t most);
/* What is missing for a pair that stays together. */
void words_lacked(text *out, const rl_model *model, const rl_alike *group, size_t index);
/* What is wrong with a row, after the kind was named. */
void words_row_problem(text *out, const rl_model *model, const rl_row_problem *problem);
void words_gap(text *out, const rl_model *model, const rl_gap *gap);
void words_cover(text *out, const rl_model *model, const rl_cover *cover);
/* Entropy before and after all tests that need no access, with how it was found. */
void words_bits(text *out, const rl_audit_report *report);
/* "exact", "drawn", "bound" */
const char *words_left(rl_left left);
/* "FILE:LINE" of the declaration of an element, its file without folders. */
void words_place(text *out, const char *path, size_t line);

#endif

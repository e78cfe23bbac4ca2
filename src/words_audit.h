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
/* What would tell them apart, in words. */
void words_separated(text *out, const rl_model *model, const rl_alike *group);
/* What is wrong with a row, after the kind was named. */
void words_row_problem(text *out, const rl_model *model, const rl_row_problem *problem);
void words_gap(text *out, const rl_model *model, const rl_gap *gap);
void words_cover(text *out, const rl_model *model, const rl_cover *cover);
/* Entropy before and after looking, with how it was found. */
void words_bits(text *out, const rl_audit_report *report);
/* "exact", "drawn", "bound" */
const char *words_left(rl_left left);
/* "FILE:LINE" of the declaration of an element, its file without folders. */
void words_place(text *out, const char *path, size_t line);

#endif

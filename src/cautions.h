/* cautions.h: what must be said before a test (design §6). */
#ifndef CAUTIONS_H
#define CAUTIONS_H

#include "ringlug.h"
#include "text.h"

/* Adds the cautions of a test: those of its manner, then those of the
 * elements and areas that it touches, each text once. */
void cautions_of_test(text_list *out, const rl_model *model, const rl_test *test);
/* Adds the cautions of getting at an element. */
void cautions_of_element(text_list *out, const rl_model *model, size_t element);
/* Adds the cautions of undoing and mending an element, those of getting at it included. */
void cautions_of_repair(text_list *out, const rl_model *model, size_t element);
/* What holds for every test: printed once on each page. */
extern const char *const cautions_always;

#endif

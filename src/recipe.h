/* recipe.h: how a test is done, step by step, in words. */
#ifndef RECIPE_H
#define RECIPE_H

#include "ringlug.h"
#include "text.h"

/* Steps in order: what each is about ("Switch on", "One lead", "Healthy", …) and what
 * is to be said of it, safe to print.  The cautions of the test are not among them: they
 * come before (cautions.h). */
typedef struct recipe {
    text_list head, body;
} recipe;

void recipe_make(recipe *out, const rl_model *model, const rl_test *test);
void recipe_free(recipe *r);

/* Loads that draw more than the reading's own and return through all of its span that others
 * can share, the strongest first; at most `most` of them, in list.  They may stand after `also`. */
size_t recipe_also(const rl_model *model, const rl_test *test, size_t *list, size_t most);

#endif

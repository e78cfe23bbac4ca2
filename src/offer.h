/* offer.h: what can be typed next, for completion and for `list`. */
#ifndef OFFER_H
#define OFFER_H

#include "ringlug.h"
#include "text.h"

typedef struct offers {
    text_list word, label;      /* label "": none */
    size_t replace;             /* bytes before the cursor that a word takes the place of */
} offers;

/* The words that fit where `before`, the line up to the cursor, ends.  A word
 * fits by its beginning or by a part of its label. */
void offer_for(const rl_model *model, const char *before, offers *out);
/* Every name of the vehicle that a line may begin with or speak of. */
void offer_all(const rl_model *model, offers *out);
void offer_free(offers *o);
/* The plain commands of the prompt. */
extern const char *const prompt_commands[];
extern const size_t prompt_command_count;
/* The symptom or the inspection called `id`, or -1. */
int offer_symptom(const rl_model *model, const char *id);
int offer_inspection(const rl_model *model, const char *id);
int offer_area(const rl_model *model, const char *id);

#endif

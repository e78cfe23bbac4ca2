/* closing.h: a proven case goes to the case log, with what was found. */
#ifndef CLOSING_H
#define CLOSING_H

#include "caselog.h"
#include "ringlug.h"

#include <stdbool.h>

/* The `found` lines to add, each with its end.  `words`: "X STATE" or "X:STATE", several with `,` or
 * `and` between them; an X without a state gets the likeliest one; "": `element`, and
 * whatever else was repaired and more likely than not at fault, unless the case says already
 * what was found.  The case has an answer.  False, with *why set: an element or state that cannot be. */
bool closing_found(text *found, text *why, const rl_model *model, rl_case *c, size_t element, const char *words);
/* Appends the case to the log.  Lines that a later one replaced are left out. */
caselog_result closing_append(const rl_model *model, const rl_case *c, const char *log, const char *tag,
                              caselog_note *note, text *why);
/* The tag that follows from the case itself. */
void closing_tag(const rl_model *model, const rl_case *c, char tag[CASELOG_TAG + 1]);
/* What came of it, in a sentence. */
void closing_words(text *out, caselog_result result, const char *log, const caselog_note *note);

#endif

/* repair.h: the sheet of a repair, and how far the repair is proved. */
#ifndef REPAIR_H
#define REPAIR_H

#include "ringlug.h"
#include "term.h"

/* Where the element is, what to remove, cautions, steps, and what will prove the repair.
 * A case without an answer gives its status and prints nothing. */
rl_status repair_sheet(const screen *sc, const rl_model *model, rl_case *c, size_t element);
/* What is still to be seen, what was measured, and the verdict. */
rl_status repair_progress(const screen *sc, const rl_model *model, rl_case *c, size_t element);
/* The same as one JSON object. */
rl_status repair_json(FILE *out, const rl_model *model, rl_case *c, size_t element);
/* Of a case without an answer: that it is damaged, or which lines contradict each other. */
void repair_json_none(FILE *out, rl_case *c);

/* What the last occasion after a repair has repaired last, else the leader; the model has elements.
 * RL_OK or as rl_case_answer. */
rl_status repair_subject(const rl_model *model, rl_case *c, size_t *element);
/* The element that `name` says, -1 (said in *why): none. */
int repair_element(const rl_model *model, const char *name, text *why);

#endif

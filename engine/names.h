/* names.h: from a name to what it names.
 *
 * Invariant: a name table never holds the same name twice in one space.  The
 * model's own table is made when the model is frozen and only read from then
 * on, so cases on several threads may share it.
 */
#ifndef RL_NAMES_H
#define RL_NAMES_H

#include "model.h"

/* ---- over a built model: the index, or -1 ---- */

int rl_find_element(const rl_model *model, const char *text);     /* loads and "LOAD.wire" too */
int rl_find_load(const rl_model *model, const char *text);        /* element index, loads only */
int rl_find_symptom(const rl_model *model, const char *text);
int rl_find_inspection(const rl_model *model, const char *text);
int rl_find_area(const rl_model *model, const char *text);

/* What rl_nearest_name may propose; joined by |. */
enum {
    RL_NAME_LOAD = 1,          /* loads */
    RL_NAME_JOINT = 2,         /* points, splices, connectors */
    RL_NAME_WIRE = 4,          /* LOAD.wire */
    RL_NAME_FEED = 8,
    RL_NAME_ELEMENT = 15,      /* all of those */
    RL_NAME_SYMPTOM = 16,
    RL_NAME_INSPECTION = 32,
    RL_NAME_AREA = 64
};
/* The name that `text` was probably meant to be, or NULL.  Scratch memory is
 * taken from `arena` and given back; the answer is the model's own text. */
const char *rl_nearest_name(rl_arena *arena, const rl_model *model, const char *text, unsigned sorts);
/* The names, wires aside, that hold `text` or have it in their label, in the order of
 * declaration: the first `most` into `list`; returns how many there are. */
size_t rl_names_with(rl_arena *arena, const rl_model *model, const char *text, unsigned sorts,
                     const char **list, size_t most);

/* ---- the table itself ---- */

typedef struct rl_names rl_names;
rl_names *rl_names_new(rl_arena *arena);
/* The value put for `text` in `space`, or -1. */
int rl_names_get(const rl_names *names, int space, const char *text);
/* Puts a value >= 0; `text` must not be there yet and must outlive the table. */
void rl_names_put(rl_names *names, int space, const char *text, int value);

#endif

/* draw.h: a drawn vehicle, and one look at it (private to draw*.c).
 *
 * Invariant: every draw has a stream of its own, keyed by seed, number, the
 * attempt that was accepted, and what is drawn (for an outcome: the occasion
 * and the test's text).  A test asked twice in one occasion brings the same
 * outcome, and no outcome depends on what else was asked.
 */
#ifndef RL_DRAW_H
#define RL_DRAW_H

#include "draw_random.h"
#include "observe.h"

/* What a stream is for: a word of its key. */
typedef enum rl_purpose { RL_FOR_STATES = 1, RL_FOR_ACTIVITY, RL_FOR_OUTCOME, RL_FOR_CHOICE } rl_purpose;

struct rl_drawn {
    rl_context *context;
    const rl_model *model;
    rl_arena arena;            /* the vehicle */
    rl_arena scratch;          /* one call; holds the line last taken */
    rl_mark base;              /* where a call begins in it */
    uint64_t seed, number, attempt;
    rl_state *state;           /* by element */
    int *bin;                  /* by element: the model's bin, if corroded */
    bool *active;              /* by element, in `occasion`: if loose, it makes and breaks */
    int occasion;              /* that `active` is of; -1: none yet */
    rl_fault *fault;           /* room for all elements */
};

/* The vehicle in one world of one occasion: what each path is there. */
typedef struct rl_stage {
    const rl_drawn *drawn;
    const rl_model *model;
    rl_arena *arena;
    int occasion;
    rl_frame frame;
    rl_exprs exprs;
    rl_observer observer;
    rl_world *world;
    int *row;                  /* by element: its row of the frame; of a load 0 or 1 */
    int *value;                /* by expression, as far as `known` */
    int known, room;
} rl_stage;

/* ---- draw_stage.c ---- */

rl_random rl_draw_stream(const rl_drawn *drawn, rl_purpose purpose, int occasion, const char *text);
/* Draws which loose elements make and break in the occasion. */
void rl_draw_activities(rl_drawn *drawn, int occasion);
/* Runs a task with the scratch arena empty and its bail set; RL_MEMORY if that ran out. */
typedef rl_status rl_draw_task(rl_drawn *drawn, void *argument);
rl_status rl_draw_run(rl_drawn *drawn, rl_draw_task *task, void *argument);

/* The world of the case's last occasion; with no case that of the first one. */
void rl_stage_make(rl_stage *stage, rl_drawn *drawn, const rl_case *c);
/* Rows of the elements anew, after states or activities changed. */
void rl_stage_set(rl_stage *stage);
/* The row of an expression (of a load: 0 or 1). */
int rl_stage_value(rl_stage *stage, int expr);
/* What the driver notices: the level of a load, whether a symptom is present. */
int rl_stage_level(rl_stage *stage, int load);
bool rl_stage_sign(rl_stage *stage, int sign);

static inline bool rl_is_load(const rl_model *model, int element)
{
    return model->node[element].info.sort == RL_LOAD;
}

/* ---- draw_line.c: lists of lines, each with its line end ---- */

void rl_draw_line(rl_text *list, const char *id, const char *outcome);
/* The loads that are not at their first level. */
void rl_draw_loads(rl_stage *stage, rl_text *list);
/* The symptoms that are present; with `absent` those too that are not. */
void rl_draw_signs(rl_stage *stage, bool absent, rl_text *list);
/* Adds the lines to the case, one by one. */
rl_status rl_draw_add(rl_case *c, const rl_text *list);
/* Puts the line that a test brings, without a line end. */
void rl_draw_test(rl_stage *stage, const rl_test *test, rl_text *line);

/* ---- draw_seen.c: what is seen without a meter ---- */

/* The level that a load shows. */
int rl_draw_level(rl_stage *stage, int load, const rl_conditions *with, rl_random *random);
bool rl_draw_sign(rl_stage *stage, int sign, rl_random *random);
/* The outcome of an inspection. */
int rl_draw_look(rl_stage *stage, int look, int element, rl_random *random);
bool rl_draw_crosstalk(rl_stage *stage, bool pull, int a, int b, rl_random *random);

/* ---- draw_meter.c: readings ---- */

/* Puts what the meter shows, with its unit ("0.71 V", "open", "beeps"). */
void rl_draw_reading(rl_stage *stage, const rl_test *test, double battery, rl_random *random, rl_text *line);

#endif

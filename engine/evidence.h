/* evidence.h: what the parts of evidence.c share; private to them and case.c.
 *
 * Invariant: while a line is looked at the case is not changed.  What the line
 * becomes grows in the case's arena, everything else in the diagnostics';
 * only commit() of evidence.c puts it into the case, and nothing can fail once
 * it has begun.
 */
#ifndef RL_EVIDENCE_H
#define RL_EVIDENCE_H

#include "model.h"
#include "names.h"

typedef struct ev_line {
    rl_case *c;
    const rl_model *model;
    rl_diag *diag;
    rl_arena *arena;           /* the case's: what stays */
    rl_arena *scratch;         /* the diagnostics': what goes */
    const ast_stmt *stmt;
    rl_finding *finding;
    rl_occasion fresh;         /* of an `occasion` line */
    bool bad;                  /* some error was said */
} ev_line;

/* ---- evidence.c ---- */

/* Says an error; the line is bad from now on. */
void ev_fault(ev_line *l, rl_span at, rl_message id, const char *one, const char *two, const char *three);
const ast_clause *ev_clause(const ast_stmt *stmt, ast_clause_sort sort);
/* "; did you mean `x`?", "; it is part of `x` and `y`", or "". */
const char *ev_hint(ev_line *l, const char *text, unsigned sorts);
/* The load or element called `word`; -1 after saying that there is none. */
int ev_load(ev_line *l, const ast_word *word);
int ev_element(ev_line *l, const ast_word *word, unsigned hint);
/* A probability as a fraction; false after saying what is wrong. */
bool ev_probability(ev_line *l, const ast_number *number, double *out);
/* A number of this dimension within [low, high]; `what` and `units` are for the message. */
bool ev_quantity(ev_line *l, const ast_number *number, ast_dimension dimension, const char *what,
                 const char *units, double low, double high, double *out);
/* Room for one more line; the case stays as it is. */
void ev_room(rl_case *c);
/* Begins an unnamed occasion where the one that was written had to be dropped;
 * false if there is no room for it. */
bool ev_placeholder(rl_case *c);
/* Takes line `index` out; an earlier line that it had replaced counts again, and an
 * unnamed first occasion that became empty goes with it. */
void ev_withdraw(rl_case *c, int index);

/* ---- case.c ---- */

void ev_case_init(rl_case *c, rl_context *context, const rl_model *model);
void ev_case_done(rl_case *c);
/* Whether a `case` statement is about the model's vehicle; says so if not. */
bool ev_fits(rl_diag *diag, const rl_model *model, const ast_stmt *stmt);
/* Gives the case the name and the label of its `case` statement. */
void ev_name_case(rl_case *c, const ast_stmt *stmt);

/* ---- evidence_seen.c: behaviours, symptoms, inspections, backfeed, pull ---- */

void ev_seen(ev_line *l);
void ev_crosstalk(ev_line *l);
/* The conditions of `with`; an occasion has `repaired` alone. */
void ev_conditions(ev_line *l, const ast_clause *with, rl_conditions *out);

/* ---- evidence_reading.c: drop, resistance, continuity, supply ---- */

void ev_reading(ev_line *l);

/* ---- evidence_text.c: canonical lines and keys ---- */

/* Sets line.text and key of a line that was found good. */
void ev_write(ev_line *l);

#endif

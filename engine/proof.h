/* proof.h: what proves a repair, shared by its two parts.
 *
 * Invariant: everything follows from the lines of the case; nothing is kept
 * between questions but in the work, which changes of the case drop.
 */
#ifndef RL_PROOF_H
#define RL_PROOF_H

#include "work.h"

/* Whether the occasion begins with the element repaired. */
bool rl_repaired_in(const rl_case *c, int occasion, int element);
/* The last occasion that begins with something repaired; -1: none. */
int rl_last_repair(const rl_case *c);
/* The loads of complaints, marked by element. */
void rl_proof_amiss(const rl_case *c, bool *amiss);

/* ---- proof_meter.c: readings over the element ---- */

/* Fills `reading` and `taken`. */
void rl_proof_measure(rl_case *c, rl_work *work, int element, rl_proof *proof);

#endif

/* worst.h: the joint posterior of the worst of a few sets of expressions.
 *
 * A behaviour, a supply reading, backfeed and pull depend on no more than that.
 *
 * Invariant: exact, or not answered.
 */
#ifndef RL_WORST_H
#define RL_WORST_H

#include "march.h"

enum { RL_WORST_SETS = 3 };

/* Rows of the worst of the expressions in the last occasion; none: sound, one row.
 * With `open` there are two: all closed, some open. */
typedef struct rl_worst { int count; const int *expr; bool open; } rl_worst;

/* Row-major over the sets' rows, to sum to 1; NULL: too large, or the sets share an
 * element.  Memory from the scratch arena. */
const double *rl_worst_joint(const rl_bearings *bearings, const rl_worst *set, int sets);

/* What an element brings into a way that it lies on: code 0 nothing, count + 1 open; of the
 * others the one of greatest value counts. */
typedef struct rl_codes { int count; const double *value; const int *of; } rl_codes;   /* of[expression][row] */
/* How likely each code is to be what counts of these expressions; NULL as above. */
const double *rl_worst_code(const rl_bearings *bearings, const int *expr, int exprs, const rl_codes *codes);

#endif

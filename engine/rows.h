/* rows.h: the rows of a kind for one load, corrosion worked out.
 *
 * Invariant: made once with the model and never changed; loads of one kind
 * and one current share their rows.
 */
#ifndef RL_ROWS_H
#define RL_ROWS_H

#include "model.h"

/* Row index of a path in the model's own bins: 0 sound, 1 loose, 2 + bin, 2 + bins open. */
typedef struct rl_rows {
    int kind;
    double current;
    const double **side[2];    /* [return, feed][row index]: a probability for each level */
    const double *noise[2];    /* the entropy of each of those rows, in bits */
} rl_rows;

typedef struct rl_row_book {
    const rl_rows **of_load;   /* one for each element; NULL where it is no load */
} rl_row_book;

rl_row_book *rl_row_book_make(rl_arena *arena, const rl_model *model);

#endif

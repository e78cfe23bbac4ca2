/* product.h: a product of tables over variables of its own, summed out (the inference layer).
 *
 * Invariant: variables are numbered from 0 up, a part has none of one value, and its last
 * variable changes fastest.
 */
#ifndef RL_PRODUCT_H
#define RL_PRODUCT_H

#include "infer_private.h"

enum { RL_NO_BITS = -1 };

typedef struct rl_query_part {
    int count;
    int *variable;          /* local numbers; the last changes fastest; none of one value */
    uint64_t *mask;         /* the same as a set */
    size_t cells;
    const double *cell;     /* NULL: */
    rl_list list;           /* most cells are 0, and these are not */
} rl_query_part;

typedef struct rl_product {
    rl_arena *arena;
    int variables, variable_room, words;
    size_t *size;
    int *shift;             /* where the variable's bits begin in a cell's code; RL_NO_BITS: it has none yet */
    uint64_t taken;         /* bits that are some variable's */
    bool *kept;
    int *uses;              /* parts that hold the variable */
    double *cost;           /* of summing it out; negative: not known */
    rl_query_part *part;
    int parts;
    double most;            /* cells of the widest table allowed; 0: any */
} rl_product;

/* Room for so many variables and parts. */
void rl_product_make(rl_product *product, rl_arena *arena, int variables, int parts);
/* A variable with so many values; returns its number. */
int rl_product_variable(rl_product *product, int size);
/* A part over these variables. */
void rl_product_add(rl_product *product, const int *variable, int count, const double *cell);
/* Sums out all but the kept variables, given in the order of `out`, which then sums to 1.
 * False, and nothing answered, where a table would be wider than allowed. */
bool rl_product_reduce(rl_product *product, int count, const int *keep, double *out);

#endif

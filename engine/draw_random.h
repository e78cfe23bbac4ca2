/* draw_random.h: random numbers for drawn vehicles, the same on every machine.
 *
 * Invariant: a stream is a function of its key alone (xoshiro256**, filled by
 * splitmix64 from the words of the key), so no draw depends on which others
 * came before it.  Units and picks are integer arithmetic and exact
 * conversions; a normal number goes through erfc, whose last bit may differ
 * between machines, so whoever shows it rounds it first.
 */
#ifndef RL_DRAW_RANDOM_H
#define RL_DRAW_RANDOM_H

#include <stdint.h>

typedef struct rl_random { uint64_t word[4]; } rl_random;

/* The stream of this key; other words, or the same in another order, give another. */
rl_random rl_random_make(const uint64_t *key, int words);
uint64_t rl_random_next(rl_random *random);
/* 0 <= u < 1, a whole multiple of 2^-53. */
double rl_random_unit(rl_random *random);
/* An index below `count` with these probabilities. */
int rl_random_pick(rl_random *random, const double *p, int count);
/* A standard normal number, given that it lies within [low, high]. */
double rl_random_normal(rl_random *random, double low, double high);
/* A word for a text, to stand in a key (FNV-1a). */
uint64_t rl_random_word(const char *text);

#endif

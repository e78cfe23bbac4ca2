/* likely.h: what a healthy span or feed and the suspect would read.
 *
 * A reading ends in one of several laws.  The likeliest in which all is sound is what is healthy,
 * the likeliest in which an element counts is the suspect's; ends of several parts of everything
 * come together where their laws are one.
 *
 * Invariant: a list holds each law once, in the order met.
 */
#ifndef RL_LIKELY_H
#define RL_LIKELY_H

#include "chain.h"

typedef struct rl_likely {
    rl_true law;
    int suspect;               /* of a law in which an element counts; -1: all is sound */
    double p;
    struct rl_likely *next;
} rl_likely;

/* Adds the ends of a drop, a resistance or a supply test, each so much times as likely. */
void rl_likely_add(rl_likely **list, rl_arena *arena, const rl_bearings *bearings, const rl_test *test,
                   const rl_chain_ends *ends, double weight);
/* Sets the test's ranges and its suspect. */
void rl_likely_set(const rl_likely *list, const rl_case *c, rl_test *test);

#endif

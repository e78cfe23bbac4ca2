/* random_rules.h: small vehicles and cases drawn at random, as text.
 *
 * Invariant: the same seed gives the same text; what is drawn is valid (some
 * of it draws warnings), and now and then its findings contradict each other.
 */
#ifndef RANDOM_RULES_H
#define RANDOM_RULES_H

#include <stddef.h>
#include <stdint.h>

enum { DRAWN_ROOM = 32768 };

typedef struct drawn {
    char base[DRAWN_ROOM];     /* classes, kinds, laws, meters: included by the rules as "base.gnd" */
    char rules[DRAWN_ROOM];
    char cases[DRAWN_ROOM];    /* `case` statements, three of them */
} drawn;

void draw_vehicle(uint64_t seed, drawn *out);

/* The stream of numbers that it draws from, for the tests' own choices. */
uint64_t draw_next(uint64_t *state);

#endif

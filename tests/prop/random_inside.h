/* random_inside.h: what the two halves of the generator share: the vehicle as
 * far as its cases need to know it, and the stream of numbers.
 *
 * Invariant: everything comes from one stream of numbers (splitmix64), so a
 * seed that fails can be drawn again.
 */
#ifndef RANDOM_INSIDE_H
#define RANDOM_INSIDE_H

#include "random_rules.h"

#include <stdbool.h>

enum { MOST = 12, WAYS = 256, LONG = 40, LEVELS = 5, NAME = 16, VIAS = 2, ALTERNATIVES = 3, MOST_FORKS = 6 };

/* A point, a splice or a load: what it returns through. */
typedef struct place {
    char name[NAME];
    int alternatives, parent[ALTERNATIVES], vias[ALTERNATIVES], via[ALTERNATIVES][VIAS];
} place;

typedef struct way { int count, element[LONG]; } way;   /* element: a place, or CONNECTOR + n */
enum { CONNECTOR = 100 };

/* What the rules have a statement for. */
typedef struct statements { bool joints, volts, ohms, beeper, backfeed, pull; } statements;

typedef struct vehicle {
    uint64_t state;
    statements has;
    bool lean;                 /* more elements of fewer states each */
    bool sharp;                /* nothing happens without a cause: findings contradict each other */
    int forks;                 /* so far */
    int places;                /* points and splices, parents before children */
    place place[MOST];
    int connectors, feeds, loads, symptoms;
    place load[MOST];
    int kind[MOST], fed[MOST]; /* of a load; fed -1: not */
    bool known[MOST];          /* its current */
    bool kind_draws[3];        /* a kind says a current for loads that do not */
    double supply;
    way way[MOST][WAYS];
    int ways[MOST];
} vehicle;

extern const char *const draw_levels_of[3][LEVELS];
extern const int draw_level_count[3];

int below(vehicle *v, int n);
bool chance(vehicle *v, int percent);
double between(vehicle *v, double low, double high);
double log_between(vehicle *v, double low, double high);
const char *pick(vehicle *v, int count, const char *const *list);
void put(char *text, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* The cases of a vehicle whose rules are drawn. */
void draw_cases(vehicle *v, char *text);

#endif

/* round_plan.h: which stops to make within some minutes (private to round*.c).
 *
 * Knows stops, areas and what is shown, and nothing of vehicles: each stop
 * shows each fault to some degree, a set of them as far as its best does; an
 * area is paid for once.
 *
 * Invariant: `pick` never takes more minutes than were given; `open`, `best`,
 * `gain`, `minutes` and `left` are those of `pick`.
 */
#ifndef RL_ROUND_PLAN_H
#define RL_ROUND_PLAN_H

#include "arena.h"

#include <stdbool.h>

/* Improvements smaller than this are rounding. */
#define RL_TOUR_NOTHING 1e-12

/* A fault and how far a stop shows it. */
typedef struct rl_shown { int fault; double by; } rl_shown;

typedef struct rl_tour_stop {
    int number;                /* the caller's */
    double check;              /* minutes, the way to it not counted */
    int areas[2];              /* -1: none */
    int count;
    const rl_shown *shows;
    int group;                 /* stops that need the same areas stand together and share it */
    bool taken;
} rl_tour_stop;

/* Stops [from, to) need the same areas. */
typedef struct rl_tour_group { int from, to, areas[2]; } rl_tour_group;

typedef struct rl_tour {
    rl_arena *arena, *scratch;
    rl_tour_stop *at;          /* set by the caller up to `shows`, those of the same areas together */
    int count;
    int faults;
    const double *weight;      /* by fault: prior probability */
    int areas;
    const double *access;      /* by area: minutes to open it */
    rl_tour_group *group;
    int groups;
    int *pick, picks;          /* stops taken, in the order of taking */
    double *gain;              /* by pick */
    double *best;              /* by fault: how far it is shown */
    bool *open;                /* by area */
    double minutes, left;
    double haste;              /* minutes weigh to this power against what is shown */
    int banned;                /* area that is not opened, -1: none */
} rl_tour;

/* Chooses: afterwards `pick` is a plan that takes no more than `minutes`. */
void rl_tour_plan(rl_tour *tour, double minutes);
/* What a stop shows beside what is shown already. */
double rl_tour_gain(const rl_tour *tour, const rl_tour_stop *stop, const double *best);
void rl_tour_show(const rl_tour_stop *stop, double *best);
/* Minutes to get to a stop with these areas open, and opening them. */
double rl_tour_access(const rl_tour *tour, const int areas[2], const bool *open);
void rl_tour_open(const int areas[2], bool *open);
/* Expected faults that are shown. */
double rl_tour_covered(const rl_tour *tour);
/* Nothing is open and nothing shown, as before the first pick. */
void rl_tour_reset(rl_tour *tour);

#endif

/* mend.h: in which order to repair, and what that is expected to take.
 *
 * Every job has the probability that it cures what is complained of and the
 * minutes it takes; jobs of an area that is closed share the minutes of
 * opening it.  With one fault and certain repairs the order by probability over
 * minutes is the cheapest; an area that has to be opened counts as a job of
 * its own that its jobs have to wait for, and takes its place with the best
 * first few of them together.
 *
 * Invariant: the order depends on the jobs alone, not on how they came or how their p were rounded.
 */
#ifndef RL_MEND_H
#define RL_MEND_H

#include "arena.h"

#include <stdbool.h>

typedef struct rl_mend_job {
    int element;
    int area;          /* to be opened for it; -1: none, or it is open */
    double p;
    double minutes;    /* without opening the area */
    double key;        /* of the order: set by rl_mend_order */
} rl_mend_job;

/* Sorts the jobs, the first one to do first; those whose p differ by rounding alone get one p, and
 * stand as declared if all else is equal.  `access`: minutes by area. */
void rl_mend_order(rl_mend_job *job, int count, const double *access, int areas);
/* Expected minutes of doing them in this order until one has cured it: each one's minutes, and
 * those of its area where it is the first there, by the probability that
 * something is still at fault (the sum of p that is left, 1 at the most).
 * `each`: by job its minutes with its area, or NULL. */
double rl_mend_minutes(rl_arena *arena, const rl_mend_job *job, int count, const double *access, int areas,
                       double *each);

#endif

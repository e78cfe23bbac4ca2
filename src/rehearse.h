/* rehearse.h: drawn faults played on several threads. */
#ifndef REHEARSE_H
#define REHEARSE_H

#include "ringlug.h"

typedef struct rehearsal {
    const rl_model *model;
    rl_play_rule rule;
    size_t seed, faults, threads;
    size_t memory_mib;          /* of one thread; 0: the library's own bound */
    /* Called after each play, by one thread at a time; NULL: not at all. */
    void (*done)(void *user, size_t plays);
    void *user;
} rehearsal;

/* Plays faults 0 to `faults` - 1 into played[].  The result does not depend on the number of threads:
 * of several failures it is that of the lowest number.  RL_OK, or as
 * rl_rehearsal_play; a thread that cannot be started is done without. */
rl_status rehearse(const rehearsal *r, rl_played *played);
/* The most processors that this machine lends to a program, 1 if it does not say. */
size_t rehearse_processors(void);

#endif

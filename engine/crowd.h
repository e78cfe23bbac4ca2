/* crowd.h: loads that work, said all at once.
 *
 * `others work` reaches hundreds of loads, and what each of them says is the same in every case: with
 * its own state and its wire summed away, a row over the way behind the wire, a row over its
 * feed path, and a number.  The model keeps these, and their products for the loads that share a
 * way; a case multiplies anew only where its lines speak of a load by itself.
 * Invariant: no other factor of the case knows the state of a load in its crowd, or of its wire.
 */
#ifndef RL_CROWD_H
#define RL_CROWD_H

#include "frame.h"
#include "rows.h"

struct rl_observer;

enum { RL_WIRE_STATES = RL_OPEN + 1 };

/* Loads that have their rows in common, behind wires of one law. */
typedef struct rl_crowd_sort {
    const rl_rows *rows;
    const rl_node *wire;                   /* one of them */
    double *back, *fed;                    /* by row of the way behind the wire, and of the feed path: what they weigh */
    double (*state)[RL_WIRE_STATES];       /* by row of that way: what the wire then is */
} rl_crowd_sort;

typedef struct rl_worker {
    int load, wire;
    int berth, feeding;                    /* groups that it is in */
    const rl_crowd_sort *sort;
    double log_alone;                      /* ln of what its own state and the background come to */
    double failed;                         /* P(failed), given that it works */
} rl_worker;

/* Workers of one way behind their wires, or of one feed way. */
typedef struct rl_crowd_group {
    int count, *worker;
    double *product, log_scale;            /* by row of the way: of all its workers, times exp(log_scale) */
    double log_alone;                      /* of all its workers; of a feed way 0 */
} rl_crowd_group;

/* What a model keeps of loads that may be said so. */
typedef struct rl_crowd_book {
    int rows;                              /* of the frame: sound, loose, the bins that are possible, open */
    int workers, berths, feedings;
    rl_worker *worker;
    rl_crowd_group *berth, *feeding;
    int *worker_of;                        /* by element: of a load and of its wire; else -1 */
} rl_crowd_book;

/* The crowd of a case. */
typedef struct rl_crowd {
    const rl_crowd_book *book;
    int occasion, bit;                     /* that it is seen in */
    bool *absent;                          /* by worker: it is not in it */
    int *way;                              /* by berth: expression of the way behind the wires; -1: none of it is there */
} rl_crowd;

rl_crowd_book *rl_crowd_book_make(rl_arena *arena, rl_arena *scratch, const rl_model *model);
/* product *= row, brought back to a size that lasts; the rest goes into the logarithm. */
void rl_crowd_multiply(double *product, const double *row, int rows, double *log_scale);

/* Says an `others` line of all loads that nothing else is said of, and marks these in `seen`.  NULL:
 * each load has to be said by itself, since there are other such lines or this one reaches a part of them. */
rl_crowd *rl_crowd_say(const struct rl_observer *o, const rl_finding *others, bool *seen);
/* Whether it is a load of the crowd or its wire; a crowd of NULL has none. */
bool rl_crowd_has(const rl_crowd *crowd, int element);
/* The states of such an element, given what the way behind the wire is: a probability for each row. */
void rl_crowd_states(const rl_crowd *crowd, int element, const double *way, double out[RL_STATES]);

#endif

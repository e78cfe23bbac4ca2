/* crowd.h: loads that work, said all at once.
 *
 * `others work` reaches hundreds of loads, and what each of them says is the same in every case: with
 * its own state and its wire summed away, a row over the way behind the wire, a row over its
 * feed path, and a number.  The model keeps these, and their products for the loads that share a
 * way; a case multiplies anew only where its lines speak of a load by itself.  Points, splices and
 * feeds that lead to such loads only are summed away in the same manner: the stops.
 * Invariant: no other factor of the case knows the state of a load in its crowd, of its wire, or
 * of a stop of the crowd.
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
    int stop;                              /* that the way leads to straight away; -1: none */
} rl_crowd_group;

/* A point, splice or feed behind which there are workers, and nothing but workers and stops. */
typedef struct rl_crowd_stop {
    int element;
    int next;                              /* the stop after it; -1: none */
    bool fed;                              /* it is a feed */
    double *row, log_scale;                /* by row of the way that follows: what all behind it weighs, times exp(log_scale) */
    double log_alone;                      /* of all workers behind it; of a feed 0 */
    double (*state)[RL_WIRE_STATES];       /* by row of that way: what it then is */
    double *path;                          /* [row of that way][row]: what its own path then is */
} rl_crowd_stop;

/* What a model keeps of loads that may be said so. */
typedef struct rl_crowd_book {
    int rows;                              /* of the frame: sound, loose, the bins that are possible, open */
    int workers, berths, feedings, stops;
    rl_worker *worker;
    rl_crowd_group *berth, *feeding;
    rl_crowd_stop *stop;                   /* each before the one after it */
    int *worker_of;                        /* by element: of a load and of its wire; else -1 */
    int *stop_of;                          /* by element; -1: it is none */
} rl_crowd_book;

/* The crowd of a case. */
typedef struct rl_crowd {
    const rl_crowd_book *book;
    int occasion, bit;                     /* that it is seen in */
    bool *absent;                          /* by worker: it is not in it */
    bool *busy;                            /* by stop: the same */
    int *way;                              /* by berth: expression of the way behind the wires; -1: none of it is
                                            * there, or the way leads to a stop of the crowd */
    int *follows;                          /* by stop: expression of the way that follows; -1: a stop of the crowd does,
                                            * or it is busy */
} rl_crowd;

rl_crowd_book *rl_crowd_book_make(rl_arena *arena, rl_arena *scratch, const rl_model *model);
/* The stops of a book that is complete but for them. */
void rl_crowd_stops_make(rl_arena *arena, rl_arena *scratch, const rl_model *model, const rl_frame *frame, rl_crowd_book *book);
/* product *= row, brought back to a size that lasts; the rest goes into the logarithm. */
void rl_crowd_multiply(double *product, const double *row, int rows, double *log_scale);

/* Says an `others` line of all loads that nothing else is said of, and marks these in `seen`.  NULL:
 * each load has to be said by itself, since there are other such lines or this one reaches a part of them. */
rl_crowd *rl_crowd_say(const struct rl_observer *o, const rl_finding *others, bool *seen);
/* Whether it is a load of the crowd, its wire, or a stop; a crowd of NULL has none. */
bool rl_crowd_has(const rl_crowd *crowd, int element);
/* The states of such an element, given a probability for each row of the way behind the wire, or of that
 * which follows the stop (NULL for a load: the model alone tells). */
void rl_crowd_states(const rl_crowd *crowd, int element, const double *way, double out[RL_STATES]);
/* What the path of a stop is, a probability for each row, given that of the way that follows. */
void rl_crowd_path(const rl_crowd *crowd, int stop, const double *follows, double *path);

#endif

/* showing.h: what a meter shows at an end of a fold, mistakes of reading included.
 *
 * Invariant: the density of a reading and the probabilities of its bands are
 * one law (design §3): summing a band's density gives its probability.
 */
#ifndef RL_SHOWING_H
#define RL_SHOWING_H

#include "fold.h"

typedef enum rl_showing_sort { RL_SHOW_DROP, RL_SHOW_SUPPLY, RL_SHOW_RESISTANCE, RL_SHOW_CONTINUITY } rl_showing_sort;

typedef struct rl_showing {
    const rl_model *model;
    rl_showing_sort sort;
    double source;      /* V: the battery of the occasion, or the vehicle's supply */
    double spread;      /* of the supply: 0 where the battery was measured, or with `at` */
    bool measured;      /* a drop with its own current */
} rl_showing;

rl_showing rl_showing_make(const rl_model *model, rl_showing_sort sort, double battery, bool measured);
/* Outcomes when cut at the meter's bands; resistance has a further one, open;
 * continuity has silent and beeps. */
int rl_showing_outcomes(const rl_showing *showing);
void rl_showing_bands(const rl_showing *showing, const rl_end *end, double *out);
/* The same outcomes and behind them their entropy in bits: the model's own row
 * where it is kept (no copy), else one in `scratch`. */
const double *rl_showing_row(const rl_showing *showing, const rl_end *end, rl_arena *scratch);
/* Density of a reading in 1/V or 1/ohm; P(open), P(beeps), P(silent) for those. */
double rl_showing_density(const rl_showing *showing, const rl_end *end, double value, bool open);
/* The reading that a share p of readings of a law stays under. */
double rl_showing_quantile(const rl_showing *showing, const rl_true *law, double p);

#endif

/* showing.c: meters (design §3, from "drop" on, and the bands of tests).
 *
 * Rows of bands are asked for again and again, by each test of each case: what
 * was worked out once is kept in the model's book (band_book.h).
 *
 * Invariant: see showing.h; a row from the book is the one that would be
 * worked out, bit for bit.
 */
#include "showing.h"

#include "band_book.h"
#include "limit.h"

#include <assert.h>
#include <math.h>
#include <string.h>

static const double OHMS_OF_MISREADING = 1000;   /* a misread resistance lies anywhere in [0, this] */

static const rl_meter *meter_of(const rl_showing *s)
{
    if (s->sort == RL_SHOW_RESISTANCE)
        return &s->model->ohms;
    return s->sort == RL_SHOW_CONTINUITY ? &s->model->beeper : &s->model->volts;
}

static rl_view view_of(const rl_showing *s)
{
    if (s->sort == RL_SHOW_SUPPLY)
        return (rl_view){RL_VIEW_SUPPLY, s->source, s->model->vehicle.supply};
    if (s->sort == RL_SHOW_DROP && !s->measured)
        return (rl_view){RL_VIEW_DROP, s->source, s->model->vehicle.supply};
    return (rl_view){RL_VIEW_PLAIN, 0, 0};
}

static rl_error error_of(const rl_showing *s)
{
    const rl_meter *meter = meter_of(s);
    return (rl_error){meter->share, meter->plus, s->sort == RL_SHOW_RESISTANCE ? 0 : s->spread};
}

rl_showing rl_showing_make(const rl_model *model, rl_showing_sort sort, double battery, bool measured)
{
    rl_showing s = {.model = model, .sort = sort, .measured = measured};
    s.source = battery > 0 ? battery : model->vehicle.supply;
    s.spread = battery > 0 || measured ? 0 : model->vehicle.supply_spread;
    return s;
}

static double sigma_at(rl_error e, double v)
{
    double own = e.share * v + e.plus, supply = e.supply_spread * v;
    return sqrt(own * own + supply * supply);
}

/* ---- densities ---- */

static double normal_density(double x, double mean, double sigma)
{
    return exp(rl_normal_density(x, mean, sigma));   /* the logarithm is what reading.h gives */
}

/* E[N] of the law, with what an open span leaks. */
static double true_density(const rl_showing *s, const rl_end *end, double v)
{
    if (end->sort == RL_END_NOTHING)
        return 0;
    if (end->sort == RL_END_LAW)
        return rl_reading_density(&end->law, view_of(s), error_of(s), v);
    if (s->measured)
        return 0;
    double leaks = s->model->leaks;
    return (1 - leaks) * normal_density(v, s->source, sigma_at(error_of(s), s->source)) +
           leaks / s->model->vehicle.supply;
}

static double volts_density(const rl_showing *s, const rl_end *end, double v)
{
    const rl_meter *m = meter_of(s);
    return (1 - m->misread - m->zero) * true_density(s, end, v) + m->misread / s->model->vehicle.supply +
           m->zero * normal_density(v, 0, m->plus);
}

static double ohms_density(const rl_showing *s, const rl_end *end, double r, bool open)
{
    const rl_meter *m = meter_of(s);
    double k = m->bands;
    if (open)
        return (end->sort == RL_END_OPEN ? 1 - m->misread : 0) + m->misread / (k + 2);
    double misread = m->misread * (k + 1) / (k + 2) / OHMS_OF_MISREADING;
    if (end->sort == RL_END_OPEN)
        return misread;
    return (1 - m->misread) * rl_reading_density(&end->law, view_of(s), error_of(s), r) + misread;
}

static double beeps(const rl_showing *s, const rl_end *end)
{
    const rl_meter *m = meter_of(s);
    double below = end->sort == RL_END_OPEN ? 0 : rl_reading_below(&end->law, m->limit);
    return (1 - m->misread) * below + m->misread / 2;
}

double rl_showing_density(const rl_showing *s, const rl_end *end, double value, bool open)
{
    if (s->sort == RL_SHOW_CONTINUITY)
        return value > 0 ? beeps(s, end) : 1 - beeps(s, end);
    if (s->sort == RL_SHOW_RESISTANCE)
        return ohms_density(s, end, value, open);
    return volts_density(s, end, value);
}

/* ---- bands ---- */

int rl_showing_outcomes(const rl_showing *s)
{
    if (s->sort == RL_SHOW_CONTINUITY)
        return 2;
    return meter_of(s)->bands + (s->sort == RL_SHOW_RESISTANCE ? 2 : 1);
}

/* The share of [0, length] that lies in band `i`. */
static double band_share(const rl_meter *m, int i, double length)
{
    double low = i == 0 ? 0 : m->band[i - 1];
    double high = i == m->bands ? length : m->band[i];
    low = fmin(fmax(low, 0), length);
    high = fmin(fmax(high, 0), length);
    return high > low ? (high - low) / length : 0;
}

/* P(band i of N(mean, sigma)), from the nearer tail. */
static double normal_band(const rl_meter *m, int i, double mean, double sigma)
{
    double low = i == 0 ? -INFINITY : (m->band[i - 1] - mean) / sigma;
    double high = i == m->bands ? INFINITY : (m->band[i] - mean) / sigma;
    if (low > 0)
        return rl_normal_below(-low) - rl_normal_below(-high);
    return rl_normal_below(high) - rl_normal_below(low);
}

static void true_bands(const rl_showing *s, const rl_end *end, double *out)
{
    const rl_meter *m = meter_of(s);
    if (end->sort == RL_END_LAW) {
        rl_reading_bands(&end->law, view_of(s), error_of(s), m->bands, m->band, out);
        return;
    }
    assert(end->sort == RL_END_OPEN && !s->measured);
    double sigma = sigma_at(error_of(s), s->source), leaks = s->model->leaks;
    for (int i = 0; i <= m->bands; i++)
        out[i] = (1 - leaks) * normal_band(m, i, s->source, sigma) +
                 leaks * band_share(m, i, s->model->vehicle.supply);
}

static void volts_bands(const rl_showing *s, const rl_end *end, double *out)
{
    const rl_meter *m = meter_of(s);
    true_bands(s, end, out);
    for (int i = 0; i <= m->bands; i++)
        out[i] = (1 - m->misread - m->zero) * out[i] +
                 m->misread * band_share(m, i, s->model->vehicle.supply) +
                 m->zero * normal_band(m, i, 0, m->plus);
}

static void ohms_bands(const rl_showing *s, const rl_end *end, double *out)
{
    const rl_meter *m = meter_of(s);
    double k = m->bands;
    bool open = end->sort == RL_END_OPEN;
    for (int i = 0; i <= m->bands; i++)
        out[i] = 0;
    if (!open)
        rl_reading_bands(&end->law, view_of(s), error_of(s), m->bands, m->band, out);
    for (int i = 0; i <= m->bands; i++)
        out[i] = (1 - m->misread) * out[i] +
                 m->misread * (k + 1) / (k + 2) * band_share(m, i, OHMS_OF_MISREADING);
    out[m->bands + 1] = (open ? 1 - m->misread : 0) + m->misread / (k + 2);
}

static void work_out(const rl_showing *s, const rl_end *end, double *out)
{
    if (s->sort == RL_SHOW_CONTINUITY) {
        out[1] = beeps(s, end);
        out[0] = 1 - out[1];
    } else if (s->sort == RL_SHOW_RESISTANCE) {
        ohms_bands(s, end, out);
    } else {
        volts_bands(s, end, out);
    }
}

/* ---- rows that were worked out already ---- */

enum { KEY_HEAD = 3, KEY_LAW = 6, MOST_TERMS = 64, MOST_WORDS = KEY_HEAD + KEY_LAW + 2 * MOST_TERMS };

static int put_law(double *word, const rl_true *u)
{
    word[0] = u->base;
    if (u->sort == RL_TRUE_FIXED)
        return 1;
    if (u->sort == RL_TRUE_WAY) {
        for (int i = 0; i < u->terms; i++) {
            word[1 + 2 * i] = u->term[i].scale;
            word[2 + 2 * i] = u->term[i].log_spread;
        }
        return 1 + 2 * u->terms;
    }
    word[1] = u->scale;
    word[2] = u->median;
    word[3] = u->log_spread;
    word[4] = u->low;
    word[5] = u->high;
    return KEY_LAW;
}

/* All that a row depends on beside the vehicle; false: too long to be kept.  A
 * dead circuit knows no battery. */
static bool make_key(const rl_showing *s, const rl_end *end, double *word, rl_band_key *key)
{
    bool dead = s->sort == RL_SHOW_RESISTANCE || s->sort == RL_SHOW_CONTINUITY, law = end->sort == RL_END_LAW;
    int way = law && end->law.sort == RL_TRUE_WAY ? end->law.terms : 0;
    if (way > MOST_TERMS)
        return false;
    word[0] = (int)s->sort | (int)end->sort << 2 | (law ? (int)end->law.sort << 4 : 0) | s->measured << 6 | way << 7;
    word[1] = dead ? 0 : s->source;
    word[2] = dead ? 0 : s->spread;
    int words = KEY_HEAD + (law ? put_law(word + KEY_HEAD, &end->law) : 0);
    *key = (rl_band_key){ words, word, rl_band_hash(word, words) };
    return true;
}

/* A row of `room` with the entropy behind it, kept or not. */
static const double *work_out_row(const rl_showing *s, const rl_end *end, const rl_band_key *key, double *room)
{
    int outcomes = rl_showing_outcomes(s);
    work_out(s, end, room);
    room[outcomes] = rl_entropy(room, outcomes);
    const double *kept = key == NULL ? NULL : rl_band_book_put(s->model->bands, key, room, outcomes + 1);
    return kept != NULL ? kept : room;
}

const double *rl_showing_row(const rl_showing *s, const rl_end *end, rl_arena *scratch)
{
    double word[MOST_WORDS];
    rl_band_key key;
    bool short_enough = make_key(s, end, word, &key);
    const double *row = short_enough ? rl_band_book_look(s->model->bands, &key) : NULL;
    if (row != NULL)
        return row;
    double *room = rl_many(scratch, rl_showing_outcomes(s) + 1, double);
    return work_out_row(s, end, short_enough ? &key : NULL, room);
}

void rl_showing_bands(const rl_showing *s, const rl_end *end, double *out)
{
    double word[MOST_WORDS], room[RL_MAX_LEVELS + 3];
    rl_band_key key;
    bool short_enough = make_key(s, end, word, &key);
    const double *row = short_enough ? rl_band_book_look(s->model->bands, &key) : NULL;
    if (row == NULL)
        row = work_out_row(s, end, short_enough ? &key : NULL, room);
    memcpy(out, row, (size_t)rl_showing_outcomes(s) * sizeof *out);
}

/* The same key with the share behind it: longer than any of a row of that sort. */
double rl_showing_quantile(const rl_showing *s, const rl_true *law, double p)
{
    double word[MOST_WORDS + 1];
    rl_band_key key;
    rl_end end = {.sort = RL_END_LAW, .law = *law, .element = -1};
    bool short_enough = make_key(s, &end, word, &key);
    if (short_enough) {
        word[key.words++] = p;
        key.hash = rl_band_hash(word, key.words);
        const double *kept = rl_band_book_look(s->model->bands, &key);
        if (kept != NULL)
            return *kept;
    }
    double value = rl_reading_quantile(law, view_of(s), error_of(s), p);
    if (short_enough)
        rl_band_book_put(s->model->bands, &key, &value, 1);
    return value;
}

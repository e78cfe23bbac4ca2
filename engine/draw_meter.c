/* draw_meter.c: drawing what a meter or a beeper shows (design §3).
 *
 * The end of the span's fold is walked to in the drawn state; the true value
 * is drawn from the law that stands there, then the meter's error, misreading
 * or zero.  Invariant: up to rounding a reading has the density that
 * rl_showing_density states.  It is rounded to the power of ten at most a
 * fifth of the meter's own error there, six digits at most: finer than the
 * meter, and coarser by far than what exp and erfc differ by between machines.
 */
#include "draw.h"

#include "number.h"

#include <assert.h>
#include <math.h>

enum { MOST_DIGITS = 6 };
static const double OHMS_OF_MISREADING = 1000;   /* as in showing.c: a misread resistance lies in [0, this] */

/* ---- the true value ---- */

static double drawn_way(const rl_true *law, rl_random *random)
{
    double z = rl_random_normal(random, -INFINITY, INFINITY), sum = law->base;
    for (int i = 0; i < law->terms; i++)
        sum += law->term[i].scale * exp(law->term[i].log_spread * z);
    return sum;
}

static double standard(const rl_true *law, double r)
{
    return r > 0 ? log(r / law->median) / law->log_spread : -INFINITY;
}

/* A resistance of the cut law: reading.h says what stands for one without mass. */
static double drawn_resistance(const rl_true *law, rl_random *random)
{
    if (!(law->log_spread > 0))
        return law->median;
    if (rl_law_mass((rl_law){ law->median, law->log_spread }, law->low, law->high) < RL_NO_MASS)
        return fmin(fmax(law->median, law->low), law->high);
    double z = rl_random_normal(random, standard(law, law->low), standard(law, law->high));
    return law->median * exp(law->log_spread * z);
}

/* U of the law, in V or in ohm. */
static double drawn_u(const rl_true *law, rl_random *random)
{
    switch (law->sort) {
    case RL_TRUE_FIXED: break;
    case RL_TRUE_WAY: return drawn_way(law, random);
    case RL_TRUE_COUNTS: return law->base + law->scale * drawn_resistance(law, random);
    }
    return law->base;
}

/* ---- where the span's fold ends, and what a supply shows ---- */

static rl_end walked(rl_stage *stage, const rl_fold *fold)
{
    int state = 0;
    for (int i = 0; i < fold->steps; i++) {
        const rl_step *step = &fold->step[i];
        int value = step->input == 0 ? 0 : rl_stage_value(stage, step->input);
        assert(value < step->values);
        state = step->next[state * step->values + value];
    }
    assert(state < fold->ends);
    return fold->end[state];
}

static rl_end span_end(rl_stage *stage, const rl_test *test, rl_evidence sort)
{
    rl_finding reading = { .sort = sort, .subject = test->subject, .from = test->from, .to = test->to };
    rl_fold fold;
    bool found = rl_observe_fold(&stage->observer, &reading, stage->world, &fold);
    assert(found);   /* an admissible test has a span */
    (void)found;
    return walked(stage, &fold);
}

static rl_end supply_end(rl_stage *stage, int load)
{
    rl_sides sides = rl_observe_sides(&stage->observer, stage->world, load, NULL);
    int open = stage->frame.rows - 1;
    bool flows = rl_stage_value(stage, sides.own) == 0 && rl_stage_value(stage, sides.back) != open;
    int row = rl_observe_row(&stage->frame, rl_stage_value(stage, sides.fed));
    return rl_observe_supply_end(stage->arena, stage->model, load, row, flows);
}

/* ---- the meters ---- */

/* What the meter itself is off by at v: its sigma but for the supply's spread. */
static double own_error(const rl_meter *meter, double v)
{
    return meter->share * fabs(v) + meter->plus;
}

/* 10^result is the least power of ten above |number|. */
static int power_above(double number)
{
    char digit[RL_NUMBER_MOST];
    int exponent;
    rl_number_digits(number, RL_NUMBER_MOST, digit, &exponent);
    return exponent;
}

static double power_of_ten(int exponent)
{
    double power = 1;
    for (; exponent > 0; exponent--)
        power *= 10;
    for (; exponent < 0; exponent++)
        power /= 10;
    return power;
}

static void put_value(rl_text *line, double v, double error, const char *unit)
{
    int finest = power_above(error / 5) - 1, digits = 0;
    double step = power_of_ten(finest);
    v = round(v / step) * step;
    if (v != 0)
        digits = power_above(v) - finest;
    rl_put_number(line, v, digits < 1 ? 1 : digits < MOST_DIGITS ? digits : MOST_DIGITS);
    rl_put(line, unit);
}

/* V at the leads of the voltmeter, before its own error. */
static double true_volts(const rl_showing *s, const rl_end *end, rl_random *random)
{
    double nominal = s->model->vehicle.supply, u = drawn_u(&end->law, random);
    if (s->sort == RL_SHOW_DROP)
        return s->source * u / (u + nominal);
    return isinf(u) ? 0 : s->source * nominal / (u + nominal);
}

static double drawn_volts(const rl_showing *s, const rl_end *end, rl_random *random)
{
    const rl_meter *m = &s->model->volts;
    double how = rl_random_unit(random), anywhere = rl_random_unit(random) * s->model->vehicle.supply;
    double leak = rl_random_unit(random), off = rl_random_normal(random, -INFINITY, INFINITY);
    assert(end->sort != RL_END_NOTHING && !s->measured);   /* a test measures no current */
    if (how < m->misread)
        return anywhere;
    if (how < m->misread + m->zero)
        return m->plus * off;
    if (end->sort == RL_END_OPEN && leak < s->model->leaks)
        return anywhere;
    double v = end->sort == RL_END_OPEN ? s->source : true_volts(s, end, random);
    double own = own_error(m, v), supply = s->spread * v;
    return v + sqrt(own * own + supply * supply) * off;
}

static void put_volts(rl_stage *stage, const rl_test *test, double battery, rl_random *random, rl_text *line)
{
    bool drop = test->sort == RL_TEST_DROP;
    rl_showing s = rl_showing_make(stage->model, drop ? RL_SHOW_DROP : RL_SHOW_SUPPLY, battery, false);
    rl_end end = drop ? span_end(stage, test, RL_E_DROP) : supply_end(stage, test->subject);
    double v = drawn_volts(&s, &end, random);
    put_value(line, v, own_error(&stage->model->volts, v), " V");
}

static void put_ohms(rl_stage *stage, const rl_test *test, rl_random *random, rl_text *line)
{
    const rl_meter *m = &stage->model->ohms;
    rl_end end = span_end(stage, test, RL_E_RESISTANCE);
    double how = rl_random_unit(random), r = rl_random_unit(random) * OHMS_OF_MISREADING;
    double off = rl_random_normal(random, -INFINITY, INFINITY), open = m->misread / (m->bands + 2);
    bool read = how >= m->misread;
    if (how < open || (read && end.sort == RL_END_OPEN)) {
        rl_put(line, "open");
        return;
    }
    if (read) {
        r = drawn_u(&end.law, random);
        r += own_error(m, r) * off;
    }
    put_value(line, r, own_error(m, r), " ohm");
}

static void put_beep(rl_stage *stage, const rl_test *test, rl_random *random, rl_text *line)
{
    const rl_meter *m = &stage->model->beeper;
    rl_end end = span_end(stage, test, RL_E_CONTINUITY);
    double how = rl_random_unit(random);
    bool beeps = how < m->misread / 2;
    if (how >= m->misread)
        beeps = end.sort != RL_END_OPEN && drawn_u(&end.law, random) < m->limit;
    rl_put(line, beeps ? "beeps" : "silent");
}

void rl_draw_reading(rl_stage *stage, const rl_test *test, double battery, rl_random *random, rl_text *line)
{
    if (test->sort == RL_TEST_RESISTANCE)
        put_ohms(stage, test, random, line);
    else if (test->sort == RL_TEST_CONTINUITY)
        put_beep(stage, test, random, line);
    else
        put_volts(stage, test, battery, random, line);
}

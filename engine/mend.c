/* mend.c: in which order to repair; see mend.h. */
#include "mend.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

/* Probability for each minute; what takes no time comes first. */
static double worth(double p, double minutes)
{
    if (minutes > 0)
        return p / minutes;
    return p > 0 ? INFINITY : 0;
}

/* Probabilities that differ by less of themselves are equal.  They are differences of a posterior and a
 * prior, so that rounding weighs more than in either; and no rounding of each by itself would do, as
 * two sides of a boundary may be that close. */
static const double ALIKE = 1e-9;

static int by_probability(const void *a, const void *b)
{
    const rl_mend_job *x = a, *y = b;
    if (x->p > y->p || x->p < y->p)
        return x->p > y->p ? -1 : 1;
    return x->element < y->element ? -1 : x->element > y->element;
}

/* Jobs that are alike up to rounding get one probability: that they are tied is no matter of luck. */
static void even_out(rl_mend_job *job, int count)
{
    qsort(job, (size_t)count, sizeof *job, by_probability);
    for (int i = 1; i < count; i++)
        if (job[i - 1].p - job[i].p <= ALIKE * job[i].p)
            job[i].p = job[i - 1].p;
}

/* By area, the best for its time first; ties as declared. */
static int by_area(const void *a, const void *b)
{
    const rl_mend_job *x = a, *y = b;
    if (x->area != y->area)
        return x->area < y->area ? -1 : 1;
    if (x->key > y->key || x->key < y->key)
        return x->key > y->key ? -1 : 1;
    return x->element < y->element ? -1 : x->element > y->element;
}

/* By what is won in a minute; jobs that are done together stay together, the best one first. */
static int by_key(const void *a, const void *b)
{
    const rl_mend_job *x = a, *y = b;
    if (x->key > y->key || x->key < y->key)
        return x->key > y->key ? -1 : 1;
    if (x->area != y->area)
        return x->area < y->area ? -1 : 1;
    double p = worth(x->p, x->minutes), q = worth(y->p, y->minutes);
    if (p > q || p < q)
        return p > q ? -1 : 1;
    return x->element < y->element ? -1 : x->element > y->element;
}

/* Jobs of one closed area, the best first: the first few that are worth the most together
 * with opening it get what they are worth together as their key. */
static void weigh_area(rl_mend_job *job, int count, double access)
{
    double p = 0, minutes = access, best = -1;
    int taken = 0;
    for (int i = 0; i < count; i++) {
        p += job[i].p;
        minutes += job[i].minutes;
        if (worth(p, minutes) >= best) {
            best = worth(p, minutes);
            taken = i + 1;
        }
    }
    for (int i = 0; i < taken; i++)
        job[i].key = best;
}

void rl_mend_order(rl_mend_job *job, int count, const double *access, int areas)
{
    even_out(job, count);
    for (int i = 0; i < count; i++) {
        assert(job[i].area < areas && job[i].p >= 0 && job[i].minutes >= 0);
        job[i].key = worth(job[i].p, job[i].minutes);
    }
    qsort(job, (size_t)count, sizeof *job, by_area);
    for (int i = 0, end; i < count; i = end) {
        for (end = i + 1; end < count && job[end].area == job[i].area; end++)
            ;
        if (job[i].area >= 0)
            weigh_area(&job[i], end - i, access[job[i].area]);
    }
    qsort(job, (size_t)count, sizeof *job, by_key);
}

double rl_mend_minutes(rl_arena *arena, const rl_mend_job *job, int count, const double *access, int areas,
                       double *each)
{
    rl_mark mark = rl_arena_mark(arena);
    bool *open = rl_many(arena, areas + 1, bool);
    double left = 0, sum = 0;
    for (int i = 0; i < count; i++)
        left += job[i].p;
    for (int i = 0; i < count; i++) {
        int area = job[i].area;
        double minutes = job[i].minutes + (area >= 0 && !open[area] ? access[area] : 0);
        if (area >= 0)
            open[area] = true;
        if (each)
            each[i] = minutes;
        sum += minutes * fmin(1, fmax(left, 0));
        left -= job[i].p;
    }
    rl_arena_rewind(arena, mark);
    return sum;
}

/* crowd.c: the crowd of a case: see crowd.h.
 *
 * Invariant: groups of which nobody is absent say what the model has worked out of them; of the
 * others the row is multiplied anew.
 */
#include "crowd.h"
#include "observe.h"

#include <assert.h>
#include <string.h>

typedef struct caller {
    const rl_observer *o;
    rl_world *world;
    const rl_crowd_book *book;
    rl_crowd *crowd;
    int *absent_of_berth, *absent_of_feeding;
} caller;

/* ---- who is absent ---- */

/* A stop, and all that follow it. */
static void mark_busy(caller *c, int stop)
{
    for (; stop >= 0 && !c->crowd->busy[stop]; stop = c->book->stop[stop].next)
        c->crowd->busy[stop] = true;
}

static void leave_out(caller *c, int element)
{
    if (element < 0)
        return;
    int worker = c->book->worker_of[element];
    mark_busy(c, c->book->stop_of[element]);
    if (worker < 0 || c->crowd->absent[worker])
        return;
    const rl_worker *w = &c->book->worker[worker];
    c->crowd->absent[worker] = true;
    c->absent_of_berth[w->berth]++;
    c->absent_of_feeding[w->feeding]++;
    mark_busy(c, c->book->berth[w->berth].stop);
    mark_busy(c, c->book->feeding[w->feeding].stop);
}

/* All whose state a line speaks of, or that of their wires. */
static void leave_out_of_line(caller *c, const rl_finding *f)
{
    switch (f->sort) {
    case RL_E_SYMPTOM: {
        const rl_sign *sign = &c->o->model->sign[f->named];
        for (int i = 0; i < sign->causes; i++)
            leave_out(c, sign->cause[i].element);
        break;
    }
    case RL_E_BACKFEED:
    case RL_E_PULL:
        leave_out(c, f->subject);
        leave_out(c, f->other);
        break;
    case RL_E_BEHAVIOUR:
    case RL_E_INSPECTION:
    case RL_E_DROP:
    case RL_E_RESISTANCE:
    case RL_E_CONTINUITY:
    case RL_E_SUPPLY: leave_out(c, f->subject); break;
    case RL_E_OTHERS:
    case RL_E_OPENED:
    case RL_E_FOUND:
    case RL_E_EXPECT:
    case RL_E_OCCASION: break;
    }
}

static bool counts(const rl_observer *o, int line)
{
    return !o->kase->finding[line]->line.replaced && !(o->left_out && o->left_out[line]);
}

static void find_absent(caller *c)
{
    for (int i = 0; i < c->o->kase->findings; i++)
        if (counts(c->o, i))
            leave_out_of_line(c, c->o->kase->finding[i]);
    for (int i = 0; i < c->world->count; i++)
        leave_out(c, c->world->forced[i]);
}

/* ---- what the rest says ---- */

/* A row of all in the group that are not absent. */
static const double *row_of_present(const caller *c, const rl_crowd_group *group, bool fed)
{
    const rl_crowd_book *book = c->book;
    double log_scale = 0, *product = rl_raw(c->o->arena, book->rows, double);
    for (int v = 0; v < book->rows; v++)
        product[v] = 1;
    for (int i = 0; i < group->count; i++) {
        const rl_worker *w = &book->worker[group->worker[i]];
        if (c->crowd->absent[group->worker[i]])
            continue;
        rl_crowd_multiply(product, fed ? w->sort->fed : w->sort->back, book->rows, &log_scale);
        c->o->draft->log_scale += fed ? 0 : w->log_alone;
    }
    c->o->draft->log_scale += log_scale;
    return product;
}

/* Says what a group says of its way. */
static void say_group(const caller *c, const rl_crowd_group *group, int absent, int way, bool fed)
{
    const double *row = group->product;
    if (absent > 0)
        row = row_of_present(c, group, fed);
    else
        c->o->draft->log_scale += group->log_scale + group->log_alone;
    rl_draft_add_own(c->o->draft, way, row, c->crowd->bit);
}

/* Whether the group has to speak of its way: somebody is there, and no stop of the crowd does. */
static bool has_its_say(const caller *c, const rl_crowd_group *group, int absent)
{
    return absent < group->count && (group->stop < 0 || c->crowd->busy[group->stop]);
}

static void say_groups(caller *c)
{
    const rl_crowd_book *book = c->book;
    for (int b = 0; b < book->berths; b++) {
        const rl_crowd_group *group = &book->berth[b];
        c->crowd->way[b] = -1;
        if (!has_its_say(c, group, c->absent_of_berth[b]))
            continue;
        c->crowd->way[b] = rl_expr_behind(c->o->exprs, c->world, book->worker[group->worker[0]].wire);
        say_group(c, group, c->absent_of_berth[b], c->crowd->way[b], false);
    }
    for (int f = 0; f < book->feedings; f++) {
        const rl_crowd_group *group = &book->feeding[f];
        if (!has_its_say(c, group, c->absent_of_feeding[f]))
            continue;
        int way = rl_expr_load_feed(c->o->exprs, c->world, book->worker[group->worker[0]].load);
        say_group(c, group, c->absent_of_feeding[f], way, true);
    }
}

/* The last stops of the crowd say what all before them came to. */
static void say_stops(caller *c)
{
    const rl_crowd *crowd = c->crowd;
    for (int s = 0; s < c->book->stops; s++) {
        const rl_crowd_stop *stop = &c->book->stop[s];
        crowd->follows[s] = -1;
        if (crowd->busy[s] || (stop->next >= 0 && !crowd->busy[stop->next]))
            continue;
        crowd->follows[s] = rl_expr_behind(c->o->exprs, c->world, stop->element);
        c->o->draft->log_scale += stop->log_scale + stop->log_alone;
        rl_draft_add_own(c->o->draft, crowd->follows[s], stop->row, crowd->bit);
    }
}

/* Whether the line is the only one of its sort, and reaches all loads. */
static bool reaches_all(const rl_observer *o, const rl_finding *others)
{
    int lines = 0;
    for (int i = 0; i < o->kase->findings; i++)
        lines += o->kase->finding[i]->sort == RL_E_OTHERS && counts(o, i);
    return lines == 1 && others->subject < 0;
}

rl_crowd *rl_crowd_say(const rl_observer *o, const rl_finding *others, bool *seen)
{
    const rl_crowd_book *book = o->model->crowd;
    if (!reaches_all(o, others))
        return NULL;
    rl_crowd *crowd = rl_new(o->arena, rl_crowd);
    *crowd = (rl_crowd){.book = book, .occasion = others->occasion, .bit = o->frame->slot[others->occasion]};
    crowd->absent = rl_many(o->arena, book->workers, bool);
    crowd->busy = rl_many(o->arena, book->stops, bool);
    crowd->way = rl_raw(o->arena, book->berths, int);
    crowd->follows = rl_raw(o->arena, book->stops, int);
    caller c = {.o = o, .world = rl_observe_world(o, others->occasion, NULL), .book = book, .crowd = crowd,
                .absent_of_berth = rl_many(o->arena, book->berths, int),
                .absent_of_feeding = rl_many(o->arena, book->feedings, int)};
    assert(book->rows == o->frame->rows);
    find_absent(&c);
    say_stops(&c);
    say_groups(&c);
    for (int w = 0; w < book->workers; w++)
        if (!crowd->absent[w])
            seen[book->worker[w].load] = true;
    return crowd;
}

/* ---- what they are ---- */

bool rl_crowd_has(const rl_crowd *crowd, int element)
{
    if (!crowd)
        return false;
    int worker = crowd->book->worker_of[element], stop = crowd->book->stop_of[element];
    return (worker >= 0 && !crowd->absent[worker]) || (stop >= 0 && !crowd->busy[stop]);
}

void rl_crowd_states(const rl_crowd *crowd, int element, const double *way, double out[RL_STATES])
{
    const rl_crowd_book *book = crowd->book;
    const rl_worker *w = book->worker_of[element] < 0 ? NULL : &book->worker[book->worker_of[element]];
    double now[RL_WIRE_STATES] = {0};
    out[RL_FAILED] = 0;
    if (w && element == w->load) {
        memset(out, 0, RL_STATES * sizeof *out);
        out[RL_SOUND] = 1 - w->failed;
        out[RL_FAILED] = w->failed;
        return;
    }
    double (*state)[RL_WIRE_STATES] = w ? w->sort->state : book->stop[book->stop_of[element]].state;
    for (int v = 0; v < book->rows; v++)
        for (int s = 0; s < RL_WIRE_STATES; s++)
            now[s] += way[v] * state[v][s];
    double sum = now[RL_SOUND] + now[RL_LOOSE] + now[RL_CORRODED] + now[RL_OPEN];
    for (int s = 0; s < RL_WIRE_STATES; s++)
        out[s] = now[s] / sum;   /* 1 but for rounding: what is certain is exactly 1 */
}

void rl_crowd_path(const rl_crowd *crowd, int stop, const double *follows, double *path)
{
    int rows = crowd->book->rows;
    const double *given = crowd->book->stop[stop].path;
    for (int r = 0; r < rows; r++)
        path[r] = 0;
    for (int v = 0; v < rows; v++, given += rows)
        for (int r = 0; r < rows; r++)
            path[r] += follows[v] * given[r];
}

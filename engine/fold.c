/* fold.c: the machine of a span reading (design §3, "Span").
 *
 * Invariant: see fold.h.  A state is whether the load draws, and for each way
 * the code of what counts in it so far: 0 nothing, 1 .. codes a candidate,
 * codes + 1 open.  Candidates that follow one law with one current share a code.
 */
#include "fold.h"

#include <assert.h>
#include <math.h>
#include <string.h>

typedef enum fold_role { ROLE_DRAWS, ROLE_ELEMENT, ROLE_FLOWS } fold_role;

/* One input in the order read.  ROLE_DRAWS: open (or failed) keeps the load from
 * drawing.  ROLE_ELEMENT: an element of the span.  ROLE_FLOWS: R(to). */
typedef struct fold_input {
    fold_role role;
    int expr;
    int element;      /* place in the list of the span's elements */
} fold_input;

typedef struct fold_state {
    int draws;        /* 1, 0, or -1: it is settled that nothing flows */
    int code[RL_MAX_WAYS];
} fold_state;

typedef struct fold_layer {
    int count, room;
    fold_state *state;
    int *next;        /* [count][values of the input read next] */
} fold_layer;

typedef struct folder {
    rl_arena *arena;
    rl_exprs *exprs;
    const rl_span_reading *reading;
    int elements;
    int *element;                /* all of the span's, each once */
    uint32_t *on_way;            /* by element: bit set of the ways it is in */
    int last_of[RL_MAX_WAYS];    /* by way: the last of its elements to be read */
    double *current[2];          /* by whether the load draws, by element */
    int codes;
    rl_candidate *candidate;     /* [1 .. codes] */
    int *code[2];                /* by draws: [element][loose, bins...] -> code */
    double *base[2];             /* by draws, by way: sum I (c + j) */
    double **along[2];           /* by draws, by way: the current of each of its elements */
    int inputs;
    fold_input *input;
    fold_layer *layer;           /* inputs + 1 of them */
} folder;

static const rl_model *model_of(const folder *f)
{
    return f->exprs->frame->model;
}

/* ---- the span's elements and their currents ---- */

static int place(const folder *f, int element)
{
    for (int i = 0; i < f->elements; i++)
        if (f->element[i] == element)
            return i;
    return -1;
}

static void list_elements(folder *f)
{
    const rl_stretch *s = f->reading->stretch;
    int room = 0;
    for (int w = 0; w < s->ways; w++)
        room += s->way[w].count;
    f->element = rl_many(f->arena, room, int);
    f->on_way = rl_many(f->arena, room, uint32_t);
    for (int w = 0; w < s->ways; w++)
        for (int i = 0; i < s->way[w].count; i++) {
            int at = place(f, s->way[w].element[i]);
            if (at < 0) {
                at = f->elements++;
                f->element[at] = s->way[w].element[i];
            }
            f->on_way[at] |= 1u << w;
            f->last_of[w] = at > f->last_of[w] ? at : f->last_of[w];
        }
}

static void set_currents(folder *f)
{
    const rl_span_reading *r = f->reading;
    for (int d = 0; d < 2; d++) {
        f->current[d] = rl_many(f->arena, f->elements, double);
        for (int i = 0; i < f->elements; i++) {
            double sum = r->dead ? 1 : d * r->current;
            for (int a = 0; !r->dead && a < r->also_count; a++)
                if (rl_on_every(model_of(f), r->also[a], f->element[i]))
                    sum += model_of(f)->node[r->also[a]].info.current;
            f->current[d][i] = sum;
        }
    }
}

/* Currents of a way's elements. */
static double *currents_along(const folder *f, const rl_way *way, int draws)
{
    double *current = rl_many(f->arena, way->count, double);
    for (int i = 0; i < way->count; i++)
        current[i] = f->current[draws][place(f, way->element[i])];
    return current;
}

static void set_bases(folder *f)
{
    const rl_stretch *s = f->reading->stretch;
    for (int d = 0; d < 2; d++) {
        f->base[d] = rl_many(f->arena, s->ways, double);
        f->along[d] = rl_many(f->arena, s->ways, double *);
        for (int w = 0; w < s->ways; w++) {
            f->along[d][w] = currents_along(f, &s->way[w], d);
            f->base[d][w] = rl_way_base(model_of(f), &s->way[w], f->along[d][w]);
        }
    }
}

/* ---- candidates ---- */

bool rl_candidate_same(const rl_candidate *a, const rl_candidate *b)
{
    return a->value == b->value && a->scale == b->scale && a->median == b->median &&
           a->log_spread == b->log_spread && a->low == b->low && a->high == b->high;
}

rl_candidate rl_candidate_make(const rl_frame *frame, int element, int bin, double current)
{
    const rl_node *node = &frame->model->node[element];
    rl_candidate c = {.scale = current, .median = node->corroded.median, .log_spread = node->corroded.log_spread,
                      .low = 0, .high = INFINITY, .element = element};
    double counts = node->corroded.median;
    if (bin >= 0) {
        c.low = frame->model->edge[frame->bin[bin]];
        c.high = frame->model->edge[frame->bin[bin] + 1];
        counts = node->bin_median[frame->bin[bin]];
    }
    c.value = c.scale * counts;
    return c;
}

static int code_for(folder *f, const rl_candidate *candidate)
{
    for (int c = 1; c <= f->codes; c++)
        if (rl_candidate_same(&f->candidate[c], candidate))
            return c;
    f->candidate[++f->codes] = *candidate;
    return f->codes;
}

static void set_candidates(folder *f)
{
    const rl_frame *frame = f->exprs->frame;
    int each = frame->bins + 1;
    f->candidate = rl_many(f->arena, 2 * f->elements * each + 1, rl_candidate);
    for (int d = 0; d < 2; d++) {
        f->code[d] = rl_many(f->arena, f->elements * each, int);
        for (int i = 0; i < f->elements; i++)
            for (int b = -1; b < frame->bins && f->current[d][i] > 0; b++) {
                const rl_node *node = &frame->model->node[f->element[i]];
                if (b >= 0 && node->bin_mass[frame->bin[b]] <= 0)
                    continue;   /* cannot be: any code will do, 0 is the least */
                rl_candidate c = rl_candidate_make(frame, f->element[i], b, f->current[d][i]);
                f->code[d][i * each + b + 1] = code_for(f, &c);
            }
    }
}

/* ---- inputs ---- */

static void put_input(folder *f, fold_role role, int expr, int element)
{
    f->input[f->inputs++] = (fold_input){role, expr, element};
}

static void list_inputs(folder *f)
{
    const rl_span_reading *r = f->reading;
    const rl_stretch *s = r->stretch;
    f->input = rl_many(f->arena, f->elements + s->before_count + 3, fold_input);
    if (!r->dead) {
        put_input(f, ROLE_DRAWS, rl_expr_load_feed(f->exprs, r->world, r->load), -1);
        put_input(f, ROLE_DRAWS, rl_expr_element(f->exprs, r->world, r->load), -1);
        if (r->barred < 0)
            put_input(f, ROLE_DRAWS, r->barred, -1);
        for (int i = 0; i < s->before_count && r->barred == 0; i++)
            put_input(f, ROLE_DRAWS, rl_expr_element(f->exprs, r->world, s->before[i]), -1);
    }
    for (int i = 0; i < f->elements; i++)
        put_input(f, ROLE_ELEMENT, rl_expr_element(f->exprs, r->world, f->element[i]), i);
    if (!r->dead && s->to >= 0) {
        int flows = rl_expr_return(f->exprs, r->world, s->to);   /* a connector has no parent: its own state */
        put_input(f, ROLE_FLOWS, flows, -1);
    }
}

/* ---- running the machine ---- */

/* What a way comes to where this counts in it. */
static double nominal_of(const folder *f, int draws, int way, int code)
{
    return f->base[draws][way] + (code > 0 ? f->candidate[code].value : 0);
}

static fold_state settled(void)
{
    return (fold_state){.draws = -1};
}

/* Whether a load that does not draw settles what is read. */
static fold_state without_draw(const folder *f, fold_state state)
{
    if (f->reading->measured || f->reading->also_count == 0)
        return settled();
    state.draws = 0;
    return state;
}

static fold_state meet_element(const folder *f, fold_state state, int i, int row)
{
    const rl_frame *frame = f->exprs->frame;
    if (row == 0 || f->current[state.draws][i] <= 0)
        return state;
    bool open = row == frame->rows - 1;
    int code = open ? f->codes + 1 : f->code[state.draws][i * (frame->bins + 1) + row - 1];
    for (int w = 0; w < f->reading->stretch->ways; w++) {
        int *now = &state.code[w];
        if (!(f->on_way[i] >> w & 1u) || *now == f->codes + 1)
            continue;
        if (open || *now == 0 || f->candidate[code].value > f->candidate[*now].value)
            *now = code;
    }
    return state;
}

/* Of the ways of which every element was read only the best is kept in mind: the others count as
 * open, which comes to the same.  So there are about as many states as ways, not as many as their patterns. */
static void settle_ways(const folder *f, fold_state *state, int read)
{
    int best = -1;
    double least = INFINITY;
    for (int w = 0; w < f->reading->stretch->ways; w++) {
        int code = state->code[w];
        if (f->last_of[w] > read || code > f->codes)
            continue;
        double nominal = nominal_of(f, state->draws, w, code);
        int loser = best < 0 || nominal < least ? best : w;
        if (loser >= 0)
            state->code[loser] = f->codes + 1;
        best = loser == w ? best : w;
        least = loser == w ? least : nominal;
    }
}

static fold_state read_value(const folder *f, const fold_input *input, fold_state state, int value)
{
    const rl_frame *frame = f->exprs->frame;
    if (state.draws < 0)
        return state;
    bool two = input->expr < 0 || f->exprs->at[input->expr].sort == RL_X_LOAD;
    int row = two && value == 1 ? frame->rows - 1 : value;
    bool open = row == frame->rows - 1;
    if (input->role == ROLE_ELEMENT) {
        state = meet_element(f, state, input->element, row);
        settle_ways(f, &state, input->element);
        return state;
    }
    if (!open)
        return state;
    return input->role == ROLE_DRAWS ? without_draw(f, state) : settled();
}

static int find_state(folder *f, fold_layer *layer, const fold_state *state)
{
    for (int i = 0; i < layer->count; i++)
        if (memcmp(&layer->state[i], state, sizeof *state) == 0)
            return i;
    if (layer->count == layer->room) {
        int room = layer->room ? layer->room * 2 : 16;
        fold_state *more = rl_many(f->arena, room, fold_state);
        if (layer->count > 0)
            memcpy(more, layer->state, (size_t)layer->count * sizeof *more);
        layer->state = more;
        layer->room = room;
    }
    layer->state[layer->count] = *state;
    return layer->count++;
}

static int input_values(const folder *f, const fold_input *input)
{
    return input->expr == 0 ? 1 : input->expr < 0 ? 2 : rl_expr_rows(f->exprs, input->expr);
}

static void run(folder *f)
{
    f->layer = rl_many(f->arena, f->inputs + 1, fold_layer);
    fold_state start = {.draws = 1};
    find_state(f, &f->layer[0], &start);
    for (int i = 0; i < f->inputs; i++) {
        fold_layer *layer = &f->layer[i];
        int values = input_values(f, &f->input[i]);
        layer->next = rl_many(f->arena, layer->count * values, int);
        for (int s = 0; s < layer->count; s++)
            for (int v = 0; v < values; v++) {
                fold_state next = read_value(f, &f->input[i], layer->state[s], v);
                layer->next[s * values + v] = find_state(f, &f->layer[i + 1], &next);
            }
    }
}

/* ---- ends ---- */

/* Sound joints of one spread act as one. */
static int group_terms(const rl_model *model, const rl_way *way, const double *current, rl_term *term)
{
    int count = 0;
    for (int i = 0; i < way->count; i++) {
        rl_law law = model->node[way->element[i]].sound;
        int t = 0;
        while (t < count && term[t].log_spread != law.log_spread)
            t++;
        if (t == count)
            term[count++] = (rl_term){0, law.log_spread};
        term[t].scale += current[i] * law.median;
    }
    return count;
}

double rl_way_base(const rl_model *model, const rl_way *way, const double *current)
{
    double base = 0;
    for (int i = 0; i < way->count; i++)
        base += current[i] * (way->conductor[i] + model->node[way->element[i]].sound.median);
    return base;
}

rl_end rl_candidate_end(const rl_candidate *counts, double base)
{
    rl_end end = {.sort = RL_END_LAW, .element = counts->element};
    end.law = (rl_true){.sort = RL_TRUE_COUNTS, .base = base, .scale = counts->scale, .median = counts->median,
                        .log_spread = counts->log_spread, .low = counts->low, .high = counts->high};
    return end;
}

rl_end rl_way_end(rl_arena *arena, const rl_model *model, const rl_way *way, const double *current, const rl_candidate *counts)
{
    if (counts)
        return rl_candidate_end(counts, rl_way_base(model, way, current));
    rl_end end = {.sort = RL_END_LAW, .element = -1};
    rl_term *term = rl_many(arena, way->count, rl_term);
    double rest = 0;
    for (int i = 0; i < way->count; i++)
        rest += current[i] * way->conductor[i];
    end.law = (rl_true){.sort = RL_TRUE_WAY, .base = rest, .terms = group_terms(model, way, current, term), .term = term};
    return end;
}

static rl_end end_of(folder *f, const fold_state *state)
{
    if (state->draws < 0 && f->reading->measured)
        return (rl_end){.sort = RL_END_NOTHING, .element = -1};
    if (state->draws < 0)
        return (rl_end){.sort = RL_END_LAW, .law = {.sort = RL_TRUE_FIXED}, .element = -1};
    int best = -1;
    double least = INFINITY;
    for (int w = 0; w < f->reading->stretch->ways; w++) {
        int code = state->code[w];
        double nominal = nominal_of(f, state->draws, w, code);
        if (code <= f->codes && (best < 0 || nominal < least)) {
            best = w;
            least = nominal;
        }
    }
    if (best < 0)
        return (rl_end){.sort = RL_END_OPEN, .element = -1};
    int code = state->code[best];
    rl_end end = rl_way_end(f->arena, model_of(f), &f->reading->stretch->way[best], f->along[state->draws][best],
                            code > 0 ? &f->candidate[code] : NULL);
    end.way = best;
    return end;
}

static bool same_law(const rl_true *a, const rl_true *b)
{
    if (a->sort != b->sort || a->base != b->base || a->terms != b->terms)
        return false;
    for (int t = 0; t < a->terms; t++)
        if (a->term[t].scale != b->term[t].scale || a->term[t].log_spread != b->term[t].log_spread)
            return false;
    return a->scale == b->scale && a->median == b->median && a->log_spread == b->log_spread &&
           a->low == b->low && a->high == b->high;
}

static int end_number(rl_fold *fold, const rl_end *end)
{
    for (int i = 0; i < fold->ends; i++)
        if (fold->end[i].sort == end->sort && same_law(&fold->end[i].law, &end->law))
            return i;
    fold->end[fold->ends] = *end;
    return fold->ends++;
}

/* ---- making it small ---- */

/* Numbers rows of `width` ints: equal rows get equal numbers.  Returns how many. */
static int number_rows(const int *row, int rows, int width, int *number, int *first)
{
    int count = 0;
    for (int i = 0; i < rows; i++) {
        int c = 0;
        while (c < count && memcmp(&row[first[c] * width], &row[i * width], (size_t)width * sizeof *row) != 0)
            c++;
        if (c == count)
            first[count++] = i;
        number[i] = c;
    }
    return count;
}

/* Layer by layer from the end: states with equal futures become one. */
static void shrink(folder *f, rl_fold *fold, int *number)
{
    rl_step *step = rl_many(f->arena, f->inputs + 1, rl_step);
    int steps = 0, to = fold->ends;
    for (int i = f->inputs; i-- > 0;) {
        fold_layer *layer = &f->layer[i];
        int values = input_values(f, &f->input[i]);
        for (int c = 0; c < layer->count * values; c++)
            layer->next[c] = number[layer->next[c]];
        int *own = rl_many(f->arena, layer->count, int);
        int *first = rl_many(f->arena, layer->count, int);
        int count = number_rows(layer->next, layer->count, values, own, first);
        int *next = rl_many(f->arena, count * values, int);
        for (int c = 0; c < count; c++)
            memcpy(&next[c * values], &layer->next[first[c] * values], (size_t)values * sizeof *next);
        step[steps++] = (rl_step){f->input[i].expr, values, count, to, next};
        to = count;
        number = own;
    }
    fold->step = rl_many(f->arena, steps + 1, rl_step);
    for (int i = 0; i < steps; i++)
        fold->step[i] = step[steps - 1 - i];
    fold->steps = steps;
}

/* Steps that change nothing are left out: those on a sound input and those
 * before the last layer of one state. */
static void drop_idle(folder *f, rl_fold *fold)
{
    int kept = 0;
    for (int i = 0; i < fold->steps; i++) {
        rl_step *s = &fold->step[i];
        if (s->to == 1 && i + 1 < fold->steps) {
            kept = 0;
            continue;
        }
        fold->step[kept++] = *s;
    }
    fold->steps = kept;
    for (int i = 0; i < fold->steps;) {
        rl_step *s = &fold->step[i];
        if (s->input != 0 || fold->steps == 1) {
            i++;
            continue;
        }
        if (i + 1 < fold->steps) {   /* read the constant into the next step */
            rl_step *n = &fold->step[i + 1];
            int *next = rl_many(f->arena, s->from * n->values, int);
            for (int a = 0; a < s->from; a++)
                memcpy(&next[a * n->values], &n->next[s->next[a] * n->values], (size_t)n->values * sizeof *next);
            n->next = next;
            n->from = s->from;
        } else {                     /* or into the one before */
            rl_step *p = &fold->step[i - 1];
            int *next = rl_many(f->arena, p->from * p->values, int);
            for (int c = 0; c < p->from * p->values; c++)
                next[c] = s->next[p->next[c]];
            p->next = next;
            p->to = s->to;
        }
        memmove(s, s + 1, (size_t)(fold->steps - i - 1) * sizeof *s);
        fold->steps--;
    }
}

void rl_fold_make(rl_fold *fold, rl_arena *arena, rl_exprs *exprs, const rl_span_reading *reading)
{
    folder f = {.arena = arena, .exprs = exprs, .reading = reading};
    assert(reading->stretch->ways <= RL_MAX_WAYS);
    list_elements(&f);
    set_currents(&f);
    set_bases(&f);
    set_candidates(&f);
    list_inputs(&f);
    run(&f);
    fold_layer *last = &f.layer[f.inputs];
    *fold = (rl_fold){.end = rl_many(arena, last->count, rl_end)};
    int *number = rl_many(arena, last->count, int);
    for (int s = 0; s < last->count; s++) {
        rl_end end = end_of(&f, &last->state[s]);
        number[s] = end_number(fold, &end);
    }
    shrink(&f, fold, number);
    drop_idle(&f, fold);
    assert(fold->steps == 0 || fold->step[0].from == 1);
}

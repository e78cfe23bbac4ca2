/* random_cases.c: draws the cases of a vehicle: every line of evidence, condition and clause.
 *
 * Invariant: what is drawn is valid (some of it draws warnings), and now and
 * then its findings contradict each other.  The ways of each load are worked out here,
 * because a span has to exist to be asked for.
 */
#include "random_inside.h"

#include <assert.h>
#include <stdio.h>
#include <string.h>

/* ---- ways, so that spans can be asked for ---- */

static void walk(vehicle *v, int l, const place *p, way *so_far)
{
    int kept = so_far->count;
    if (p->alternatives == 0) {
        assert(v->ways[l] < WAYS);
        v->way[l][v->ways[l]++] = *so_far;
    }
    for (int a = 0; a < p->alternatives; a++) {
        for (int i = 0; i < p->vias[a]; i++)
            so_far->element[so_far->count++] = CONNECTOR + p->via[a][i];
        so_far->element[so_far->count++] = p->parent[a];
        assert(so_far->count < LONG - 3);
        walk(v, l, &v->place[p->parent[a]], so_far);
        so_far->count = kept;
    }
}

static int index_in(const way *w, int element)
{
    for (int i = 0; i < w->count; i++)
        if (w->element[i] == element)
            return i;
    return -1;
}

static bool on_every(const vehicle *v, int l, int element)
{
    for (int i = 0; i < v->ways[l]; i++)
        if (index_in(&v->way[l][i], element) < 0)
            return false;
    return true;
}

static void name_of(const vehicle *v, int element, char *out)
{
    if (element >= CONNECTOR)
        snprintf(out, NAME, "c%d", element - CONNECTOR);
    else
        snprintf(out, NAME, "%s", v->place[element].name);
}

/* An element of D(load) but its wire, or -1. */
static int draw_on_every(vehicle *v, int l)
{
    const way *w = &v->way[l][below(v, v->ways[l])];
    int element = w->element[below(v, w->count)];
    return on_every(v, l, element) ? element : -1;
}

static bool before(const vehicle *v, int l, int a, int b)
{
    for (int i = 0; i < v->ways[l]; i++)
        if (a >= 0 && index_in(&v->way[l][i], a) >= index_in(&v->way[l][i], b))
            return false;
    return true;
}

static bool same_end(const vehicle *v, int l)
{
    for (int i = 1; i < v->ways[l]; i++)
        if (v->way[l][i].element[v->way[l][i].count - 1] != v->way[l][0].element[v->way[l][0].count - 1])
            return false;
    return true;
}

/* Whether nothing before `from` has two ways on. */
static bool single_chain(const vehicle *v, int l, int from)
{
    const way *w = &v->way[l][0];
    if (v->load[l].alternatives > 1)
        return false;
    for (int k = 0; w->element[k] != from; k++)
        if (w->element[k] < CONNECTOR && v->place[w->element[k]].alternatives > 1)
            return false;
    return true;
}

/* ` from X to Y`, each maybe left out; false where the draw is no span. */
static bool draw_span(vehicle *v, int l, bool dead, char *out)
{
    int from = chance(v, 55) ? draw_on_every(v, l) : -1;
    int to = chance(v, 45) ? draw_on_every(v, l) : -1;
    char a[NAME], b[NAME];
    out[0] = '\0';
    if (v->ways[l] > 16 || (from >= 0 && !single_chain(v, l, from)))
        return false;
    if (to < 0 && dead) {
        if (!same_end(v, l))
            return false;
        int end = v->way[l][0].element[v->way[l][0].count - 1];
        if (from >= 0 && !before(v, l, from, end))
            return false;
    }
    if (to >= 0 && !before(v, l, from, to))
        return false;
    if (from >= 0) {
        name_of(v, from, a);
        sprintf(out, " from %s", a);
    } else if (chance(v, 10)) {
        sprintf(out, " from l%d.wire", l);
    }
    if (to >= 0) {
        name_of(v, to, b);
        sprintf(out + strlen(out), " to %s", b);
    }
    return true;
}

/* ---- cases ---- */

static void draw_sure(vehicle *v, char *t, int percent)
{
    static const char *const odd[] = {"0", "100%", "0.5", "12.5%"};
    if (!chance(v, percent))
        return;
    if (chance(v, 8))
        put(t, " sure %s", pick(v, 4, odd));
    else
        put(t, " sure %d%%", 55 + below(v, 43));
}

/* Any element at all. */
static void draw_element(vehicle *v, char *out)
{
    int what = below(v, 10);
    if (what < 3)
        sprintf(out, "%s", v->place[below(v, v->places)].name);
    else if (what < 5)
        sprintf(out, "l%d.wire", below(v, v->loads));
    else if (what < 7)
        sprintf(out, "l%d", below(v, v->loads));
    else if (what < 8 || v->connectors == 0)
        sprintf(out, "f%d", below(v, v->feeds));
    else
        sprintf(out, "c%d", below(v, v->connectors));
}

static void draw_levels(vehicle *v, char *t, int l)
{
    const char *const *level = draw_levels_of[v->kind[l]];
    int n = draw_level_count[v->kind[l]], first = below(v, n);
    put(t, " %s%s", chance(v, 15) ? "not " : "", level[first]);
    if (chance(v, 25))
        put(t, " or %s", level[(first + 1 + below(v, n - 1)) % n]);
}

/* `with` one to three conditions, none twice. */
static void draw_condition(vehicle *v, char *t, int l)
{
    char name[NAME], said[8][2 * NAME];
    int n = 0;
    for (int tries = 1 + chance(v, 35) + chance(v, 15); tries > 0; tries--) {
        int at = draw_on_every(v, l);
        char *text = said[n];
        switch (below(v, 6)) {
        case 0: strcpy(text, "bypass"); break;
        case 1: strcpy(text, "swap"); break;
        case 2: strcpy(text, "jumper"); break;
        case 3:
            if (at < 0)
                continue;
            name_of(v, at, name);
            sprintf(text, "bypass at %s", name);
            break;
        case 4: sprintf(text, "bypass at l%d.wire", l); break;
        default:
            draw_element(v, name);
            sprintf(text, "repaired %s", name);
        }
        bool twice = false;
        for (int i = 0; i < n; i++)
            twice = twice || strcmp(said[i], text) == 0;
        if (twice)
            continue;
        put(t, " %s %s", n == 0 ? "with" : "and", text);
        n++;
    }
}

static void draw_behaviour(vehicle *v, char *t)
{
    int l = below(v, v->loads);
    put(t, "%s", v->load[l].name);
    draw_levels(v, t, l);
    draw_sure(v, t, 20);
    if (chance(v, 30))
        draw_condition(v, t, l);
    put(t, "\n");
}

static void draw_inspection(vehicle *v, char *t)
{
    static const char *const outcome[] = {"clean", "corroded", "loose", "broken"};
    if (chance(v, 50)) {
        char name[NAME];
        int what = below(v, 5);
        sprintf(name, what == 0 ? "f%d" : what < 3 ? "l%d" : "l%d.wire", below(v, what == 0 ? v->feeds : v->loads));
        put(t, "peek %s %s", name, chance(v, 50) ? "good" : "bad");
    } else {
        bool joint = v->connectors == 0 || chance(v, 75);
        if (joint)
            put(t, "look %s", v->place[below(v, v->places)].name);
        else
            put(t, "look c%d", below(v, v->connectors));
        put(t, " %s%s", chance(v, 15) ? "not " : "", pick(v, 4, outcome));
    }
    draw_sure(v, t, 20);
    put(t, "\n");
}

static void draw_pair(vehicle *v, char *t)
{
    int a = below(v, v->loads), b = (a + 1 + below(v, v->loads - 1)) % v->loads;
    bool pull = chance(v, 50);
    if (!(pull ? v->has.pull : v->has.backfeed))
        return;
    put(t, "%s l%d to l%d %s%s", pull ? "pull" : "backfeed", a, b, chance(v, 10) ? "not " : "",
        chance(v, 50) ? "present" : "absent");
    draw_sure(v, t, 20);
    put(t, "\n");
}

/* Mostly a voltage that could be; now and then one below 0 or above the supply. */
static void draw_volts(vehicle *v, char *t)
{
    if (chance(v, 6))
        put(t, " %.3g mV", -log_between(v, 0.5, 900));
    else if (chance(v, 6))
        put(t, " %.4g V", v->supply * between(v, 0.9, 1.4));
    else
        put(t, " %.3g V", log_between(v, 0.0005, 0.8 * v->supply));
}

static void draw_also(vehicle *v, char *t, int l)
{
    int n = 0, last = chance(v, 30) ? 2 : 1;
    for (int i = 1; i <= last; i++) {
        int also = (l + i) % v->loads;
        if (also == l || !v->known[also])
            continue;
        put(t, "%s l%d", n++ == 0 ? " also" : ",", also);
    }
}

static void draw_drop(vehicle *v, char *t)
{
    int l = below(v, v->loads);
    char span[2 * NAME + 16];
    bool at = chance(v, 25);
    if (!v->has.volts || !v->has.joints || (!v->known[l] && !at) || !draw_span(v, l, false, span))
        return;
    put(t, "drop l%d%s", l, span);
    draw_volts(v, t);
    if (at)
        put(t, " at %.3g A", log_between(v, 0.05, 12));
    if (chance(v, 30))
        draw_also(v, t, l);
    put(t, "\n");
}

static void draw_resistance(vehicle *v, char *t)
{
    if (chance(v, 20))
        put(t, " open\n");
    else if (chance(v, 6))
        put(t, " %.3g mohm\n", -log_between(v, 1, 2000));
    else
        put(t, " %.3g ohm\n", log_between(v, 0.01, 2000));
}

static void draw_ohms(vehicle *v, char *t)
{
    int l = below(v, v->loads);
    char span[2 * NAME + 16];
    bool beeper = chance(v, 50);
    if (!v->has.joints || !(beeper ? v->has.beeper : v->has.ohms) || !draw_span(v, l, true, span))
        return;
    put(t, "%s l%d%s", beeper ? "continuity" : "resistance", l, span);
    if (beeper)
        put(t, " %s\n", chance(v, 50) ? "beeps" : "silent");
    else
        draw_resistance(v, t);
}

static void draw_supply(vehicle *v, char *t)
{
    int l = below(v, v->loads);
    if (!v->has.volts || !v->has.joints || !v->known[l])
        return;
    put(t, "supply l%d", l);
    if (chance(v, 60))
        put(t, " %.4g V\n", v->supply * between(v, 0.7, 1.02));
    else {
        draw_volts(v, t);
        put(t, "\n");
    }
}

static void draw_others(vehicle *v, char *t)
{
    for (int n = 1 + chance(v, 30); n > 0; n--) {
        if (chance(v, 50))
            put(t, "others work\n");
        else if (v->connectors > 0 && chance(v, 30))
            put(t, "others of c%d work\n", below(v, v->connectors));
        else
            put(t, "others of %s work\n", v->place[below(v, v->places)].name);
    }
}

static void draw_symptom_line(vehicle *v, char *t)
{
    put(t, "y%d %s%s", below(v, v->symptoms), chance(v, 10) ? "not " : "", chance(v, 50) ? "present" : "absent");
    draw_sure(v, t, 20);
    put(t, "\n");
}

static void draw_line(vehicle *v, char *t)
{
    int what = below(v, 100);
    if (what < 42)
        draw_behaviour(v, t);
    else if (what < 50)
        draw_symptom_line(v, t);
    else if (what < 60)
        draw_inspection(v, t);
    else if (what < 67)
        draw_pair(v, t);
    else if (what < 77)
        draw_drop(v, t);
    else if (what < 84)
        draw_ohms(v, t);
    else if (what < 89)
        draw_supply(v, t);
    else if (what < 95)
        draw_others(v, t);
    else
        put(t, "opened a%d\n", below(v, 3));
}

static void draw_occasion(vehicle *v, char *t, int number)
{
    put(t, "occasion o%d \"time %d\"", number, number);
    if (chance(v, 35))
        put(t, " said %d%%", 70 + below(v, 28));
    if (chance(v, 40))
        put(t, " battery %.3g V", between(v, 11.7, 14));
    if (chance(v, 30)) {
        char one[NAME], two[NAME];
        draw_element(v, one);
        draw_element(v, two);
        put(t, " with repaired %s", one);
        if (chance(v, 25) && strcmp(one, two) != 0)
            put(t, " and repaired %s", two);
    }
    put(t, "\n");
}

static void draw_case(vehicle *v, char *t)
{
    bool many = chance(v, 4);
    int occasions = many ? 4 + below(v, 5) : 1 + (below(v, 3) == 0) + (below(v, 6) == 0);
    for (int o = 0; o < occasions; o++) {
        if (o > 0 || chance(v, 40))
            draw_occasion(v, t, o);
        for (int n = many ? below(v, 2) : 1 + below(v, v->lean ? 6 : 4); n > 0; n--)
            draw_line(v, t);
    }
    put(t, "\n");
}

void draw_cases(vehicle *v, char *t)
{
    for (int l = 0; l < v->loads; l++) {
        way so_far = {0};
        walk(v, l, &v->load[l], &so_far);
    }
    for (int i = 0; i < 3; i++) {
        put(t, "case \"%d\" on rnd \"drawn\"\n", i);
        draw_case(v, t);
    }
}

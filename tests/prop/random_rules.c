/* random_rules.c: draws vehicles and cases of every statement and clause.
 *
 * Invariant: everything comes from one stream of numbers (splitmix64), so a
 * seed that fails can be drawn again.  The generator knows the ways of each
 * load itself, because a span has to exist to be asked for.
 */
#include "random_rules.h"

#include <assert.h>
#include <math.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

enum { MOST = 12, WAYS = 16, LONG = 16, LEVELS = 5, NAME = 16 };

/* A point, a splice or a load: what it returns through. */
typedef struct place {
    char name[NAME];
    int alternatives, parent[2], vias[2], via[2][2];
} place;

typedef struct way { int count, element[LONG]; } way;   /* element: a place, or CONNECTOR + n */
enum { CONNECTOR = 100 };

typedef struct vehicle {
    uint64_t state;
    int places;                /* points and splices, parents before children */
    place place[MOST];
    int connectors, feeds, loads;
    place load[MOST];
    int kind[MOST], fed[MOST]; /* of a load; fed -1: not */
    bool known[MOST];          /* its current */
    way way[MOST][WAYS];
    int ways[MOST];
} vehicle;

uint64_t draw_next(uint64_t *state)
{
    uint64_t z = (*state += 0x9E3779B97F4A7C15u);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
}

static int below(vehicle *v, int n) { return (int)(draw_next(&v->state) % (uint64_t)n); }
static bool chance(vehicle *v, int percent) { return below(v, 100) < percent; }

static double between(vehicle *v, double low, double high)
{
    return low + (high - low) * (double)(draw_next(&v->state) >> 11) / 9007199254740992.0;
}

static double log_between(vehicle *v, double low, double high)
{
    return exp(between(v, log(low), log(high)));
}

static const char *pick(vehicle *v, int count, const char *const *list) { return list[below(v, count)]; }

__attribute__((format(printf, 2, 3)))
static void put(char *text, const char *format, ...)
{
    size_t filled = strlen(text);
    va_list list;
    va_start(list, format);
    int n = vsnprintf(text + filled, DRAWN_ROOM - filled, format, list);
    va_end(list);
    assert(n >= 0 && (size_t)n < DRAWN_ROOM - filled);
    (void)n;
}

/* ---- base.gnd ---- */

static const char *const kind_levels[3][LEVELS] = {
    {"normal", "flickers", "dim", "dead"}, {"fine", "slow", "stuck"}, {"normal", "noisy", "jumps", "misreads", "silent"}};
static const int kind_level_count[3] = {4, 3, 5};

static void draw_classes(vehicle *v, char *t)
{
    static const char *const name[] = {"point", "splice", "connector", "wire", "feed", "wet"};
    for (int i = 0; i < 6; i++) {
        put(t, "class %s loose %.3g%% corroded %.3g%%\n    open %.3g%%", name[i], between(v, 0.2, 9),
            between(v, 0.2, 12), between(v, 0, 5));
        if (chance(v, 50))
            put(t, " quiet %.3g%%", chance(v, 15) ? 0.0 : between(v, 5, 95));
        if (chance(v, 50))
            put(t, " joint sound %.3g mohm%s", log_between(v, 0.05, 9), chance(v, 50) ? " spread 1.8" : "");
        if (chance(v, 50))
            put(t, " joint corroded %.3g ohm spread %.3g", log_between(v, 0.02, 4), between(v, 1.5, 7));
        if (chance(v, 25))
            put(t, " by 1 mm2 80 cm");
        put(t, "\n");
    }
}

/* Some of the levels but the first, each once, adding to less than 100 %. */
static void draw_row(vehicle *v, char *t, int kind)
{
    double left = 97;
    int start = 1 + below(v, kind_level_count[kind] - 1);
    for (int i = start; i < kind_level_count[kind]; i++) {
        double p = between(v, 0, left);
        put(t, " %s %.4g%%", kind_levels[kind][i], p);
        left -= p + 0.1;
        if (chance(v, 30) || left < 5)
            break;
    }
}

static void draw_rows(vehicle *v, char *t, int kind)
{
    static const char *const when[] = {"loose", "return loose", "feed loose", "corroded", "return corroded",
                                       "feed corroded", "open", "return open", "feed open"};
    static const int often[] = {80, 30, 30, 20, 20, 20, 85, 30, 30};
    for (int i = 0; i < 9; i++)
        if (chance(v, often[i])) {
            put(t, "    when %s", when[i]);
            draw_row(v, t, kind);
            put(t, "\n");
        }
    double volts = 0;
    for (int n = below(v, 4); n > 0; n--) {
        volts += between(v, 0.3, 4);
        put(t, "    short of %.3g V", volts);
        draw_row(v, t, kind);
        put(t, "\n");
    }
}

static void draw_kind(vehicle *v, char *t, int kind)
{
    put(t, "kind kind%d behaves ", kind);
    for (int i = 0; i < kind_level_count[kind]; i++)
        put(t, "%s%s", i == 0 ? "" : ", ", kind_levels[kind][i]);
    put(t, " failed %.3g%% check %.2g min%s\n", between(v, 0.2, 8), between(v, 0.2, 3),
        chance(v, 60) ? " draws 2.5 A" : "");
    draw_rows(v, t, kind);
    put(t, "    when failed");
    draw_row(v, t, kind);
    if (chance(v, 80)) {
        put(t, "\n    otherwise %s %.4g%%", kind_levels[kind][kind_level_count[kind] - 1], between(v, 0.1, 3));
        if (chance(v, 60))
            put(t, "  %s %.4g%%", kind_levels[kind][1], between(v, 0.1, 3));
    }
    put(t, "\n");
}

static void draw_inspections(vehicle *v, char *t)
{
    put(t, "inspection look of point, splice, connector shows clean, corroded, loose, broken check 3 min\n");
    if (chance(v, 60))
        put(t, "    when sound corroded %.4g%%  loose %.4g%%\n", between(v, 0, 9), between(v, 0, 4));
    put(t, "    when loose loose %.4g%%  corroded %.4g%%\n", between(v, 5, 60), between(v, 0, 35));
    put(t, "    when corroded corroded %.4g%%  broken %.4g%%\n", between(v, 5, 80), between(v, 0, 15));
    put(t, "    when open broken %.4g%%  loose %.4g%%\n", between(v, 5, 70), between(v, 0, 25));
    put(t, "inspection peek of feed, wire, load shows good, bad check 1.5 min\n    when loose bad %.3g%%\n"
           "    when corroded bad %.3g%%\n    when open bad %.3g%%\n    when failed bad %.3g%%\n",
        between(v, 1, 95), between(v, 1, 95), between(v, 1, 95), between(v, 1, 95));
    if (chance(v, 60))
        put(t, "    when sound bad 2%%\n");
}

static void draw_grades(vehicle *v, char *t)
{
    static const char *const grades[] = {"", "", "", "grades 0.3 ohm\n", "grades 80 mohm, 2 ohm\n",
                                         "grades 50 mohm, 0.5 ohm, 5 ohm\n"};
    put(t, "%s", pick(v, 6, grades));
}

static void draw_meters(vehicle *v, char *t)
{
    put(t, "meter volts reads 0.5%% plus 2 mV misread %d%%%s check 2 min bands 50 mV, 100 mV, 500 mV, 2 V, 8 V\n",
        1 + below(v, 3), chance(v, 60) ? " zero 2%" : "");
    if (chance(v, 90))
        put(t, "meter ohms reads 1%% plus 0.2 ohm misread 2%% check 3 min bands 0.5 ohm, 1 ohm, 10 ohm, 100 ohm\n");
    if (chance(v, 90))
        put(t, "meter beeper beeps below %d ohm misread %d%% check 1 min\n", 1 + below(v, 40), 1 + below(v, 2));
}

static void draw_base(vehicle *v, char *t)
{
    put(t, "language 1\n# drawn at random\n");
    draw_classes(v, t);
    for (int k = 0; k < 3; k++)
        draw_kind(v, t, k);
    draw_inspections(v, t);
    put(t, "backfeed loose %.3g%% corroded %.3g%% open %.3g%% otherwise 0.4%% check 1 min\n", between(v, 1, 40),
        between(v, 1, 60), between(v, 1, 90));
    put(t, "pull loose %.3g%% corroded %.3g%% open %.3g%% otherwise 1%%\n", between(v, 1, 40), between(v, 1, 60),
        between(v, 1, 90));
    put(t, "joint sound %.3g mohm spread %.3g\n", log_between(v, 0.2, 9), between(v, 1, 3));
    put(t, "joint corroded %.3g ohm spread %.3g\n", log_between(v, 0.05, 4), between(v, 1.5, 7));
    put(t, "joint loose quiet %.3g%%\n", between(v, 5, 90));
    if (chance(v, 50))
        put(t, "joint open leaks %.3g%%\n", between(v, 1, 50));
    draw_grades(v, t);
    draw_meters(v, t);
    put(t, "bypass check 4 min up to %d A\nswap check 6 min\njumper check 5 min up to 5 A\n", 1 + below(v, 5));
    put(t, "splice gone1\nsymptom gone2 from gone1 loose 20%% otherwise 1%%\n");
}

/* ---- v.gnd ---- */

static void draw_conductor(vehicle *v, char *t)
{
    static const char *const area[] = {"0.75 mm2", "2.5 mm2", "18 AWG", "1 mm\xC2\xB2"};
    if (chance(v, 70))
        put(t, " by %s %.2g m", pick(v, 4, area), between(v, 0.2, 4));
}

static void draw_via(vehicle *v, char *t, place *p, int a)
{
    p->vias[a] = chance(v, 35) && v->connectors > 0 ? 1 + (v->connectors > 1 && chance(v, 30)) : 0;
    int first = v->connectors > 1 ? below(v, 2) : 0;
    for (int i = 0; i < p->vias[a]; i++) {
        p->via[a][i] = i == 0 ? first : 1 - first;
        put(t, "%sc%d", i == 0 ? " via " : ", ", p->via[a][i]);
    }
}

/* `returns through` one of the first `places` places, at times two. */
static void draw_returns(vehicle *v, char *t, place *p, int places)
{
    p->alternatives = places > 1 && chance(v, 25) ? 2 : 1;
    p->parent[0] = below(v, places);
    p->parent[1] = (p->parent[0] + 1 + below(v, places > 1 ? places - 1 : 1)) % places;
    for (int a = 0; a < p->alternatives; a++) {
        put(t, "%s%s", a == 0 ? " returns through " : " or ", v->place[p->parent[a]].name);
        draw_via(v, t, p, a);
        draw_conductor(v, t);
    }
}

static void draw_area(vehicle *v, char *t)
{
    if (chance(v, 40))
        put(t, " in a%d", below(v, 3));
}

static void draw_do_not(vehicle *v, char *t)
{
    static const char *const what[] = {"probe", "bypass", "jumper, swap", "disconnect", "probe, bypass"};
    if (chance(v, 12))
        put(t, " do not %s", pick(v, 5, what));
}

static void draw_places(vehicle *v, char *t)
{
    int points = 1 + below(v, 2), splices = below(v, 2);
    for (int i = 0; i < points + splices; i++) {
        place *p = &v->place[i];
        bool point = i < points;
        snprintf(p->name, sizeof p->name, "%c%d", point ? 'p' : 's', point ? i : i - points);
        put(t, "%s %s \"place %d\"%s", point ? "point" : "splice", p->name, i, chance(v, 25) ? " class wet" : "");
        if (i > 0 && (!point || chance(v, 75)))
            draw_returns(v, t, p, i);
        draw_area(v, t);
        draw_do_not(v, t);
        put(t, "\n");
        v->places++;
    }
}

static void draw_feeds(vehicle *v, char *t)
{
    v->feeds = 1 + chance(v, 50);
    put(t, "feed f0 rated 10 A\n");
    if (v->feeds < 2)
        return;
    put(t, "feed f1 \"relay\" rated 15 A");
    if (chance(v, 50))
        put(t, " fed by f0%s", chance(v, 30) && v->connectors > 0 ? " via c0" : "");
    if (chance(v, 50))
        put(t, " operated by l0");
    put(t, "\n");
}

static void draw_load(vehicle *v, char *t, int l)
{
    static const char *const draws[] = {" draws 5 W", " draws 21 W", " draws 0.9 A", " draws 3.4 A", " draws 150 mA"};
    place *p = &v->load[l];
    snprintf(p->name, sizeof p->name, "l%d", l);
    v->kind[l] = below(v, 3);
    put(t, "load %s kind kind%d", p->name, v->kind[l]);
    v->known[l] = chance(v, 80);
    if (v->known[l])
        put(t, "%s", pick(v, 5, draws));
    if (chance(v, 15))
        put(t, " failed %.3g%%", between(v, 0.5, 10));
    if (chance(v, 15))
        put(t, " wire class wet");
    draw_returns(v, t, p, v->places);
    /* l0 may be a coil: it must not be fed through its own relay */
    v->fed[l] = chance(v, 85) ? (l == 0 ? 0 : below(v, v->feeds)) : -1;
    if (v->fed[l] >= 0)
        put(t, " fed by f%d%s", v->fed[l], chance(v, 25) && v->connectors > 0 ? " via c0" : "");
    draw_area(v, t);
    draw_do_not(v, t);
    put(t, "\n");
}

static void draw_symptom(vehicle *v, char *t)
{
    put(t, "symptom y0 \"something odd\" check 1 min\n");
    put(t, "    from p0 loose %.3g%% corroded %.3g%%\n", between(v, 1, 50), between(v, 1, 50));
    if (chance(v, 50))
        put(t, "    from return of l%d open %.3g%% corroded 20%%\n", below(v, v->loads), between(v, 1, 60));
    if (chance(v, 30))
        put(t, "    from feed of l%d corroded 30%% loose 10%%\n", below(v, v->loads));
    if (chance(v, 40))
        put(t, "    from l%d failed %.3g%%\n", below(v, v->loads), between(v, 1, 60));
    if (chance(v, 40))
        put(t, "    from l%d.wire open 50%%\n", below(v, v->loads));
    if (chance(v, 80))
        put(t, "    otherwise %.3g%%\n", between(v, 0.1, 3));
}

static void draw_rules(vehicle *v, char *t)
{
    put(t, "include \"base.gnd\"\nremove gone1\nremove gone2\n");
    put(t, "vehicle rnd \"drawn\" revision 1 supply %.3g V", between(v, 11.5, 13));
    if (chance(v, 70))
        put(t, " spread %.3g%%", between(v, 0.5, 4));
    put(t, "\n");
    if (chance(v, 40))
        put(t, "class wet loose %.3g%% corroded %.3g%%\n", between(v, 0.2, 9), between(v, 0.2, 9));
    for (int a = 0; a < 3; a++)
        put(t, "area a%d \"area %d\" access %d min%s\n", a, a, 1 + below(v, 14),
            a == 2 && chance(v, 20) ? " do not probe" : "");
    v->connectors = below(v, 3);
    for (int i = 0; i < v->connectors; i++)
        put(t, "connector c%d%s\n", i, chance(v, 30) ? " in a0" : "");
    draw_places(v, t);
    v->loads = 2 + chance(v, 35);
    draw_feeds(v, t);
    for (int l = 0; l < v->loads; l++)
        draw_load(v, t, l);
    draw_symptom(v, t);
}

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

/* ` from X to Y`, each maybe left out; false where the draw is no span. */
static bool draw_span(vehicle *v, int l, bool dead, char *out)
{
    int from = chance(v, 50) && v->ways[l] == 1 ? draw_on_every(v, l) : -1;
    int to = chance(v, 40) ? draw_on_every(v, l) : -1;
    char a[NAME], b[NAME];
    out[0] = '\0';
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
    if (chance(v, percent))
        put(t, " sure %d%%", 55 + below(v, 43));
}

static void draw_levels(vehicle *v, char *t, int l)
{
    const char *const *level = kind_levels[v->kind[l]];
    int n = kind_level_count[v->kind[l]], first = below(v, n);
    put(t, " %s%s", chance(v, 15) ? "not " : "", level[first]);
    if (chance(v, 25))
        put(t, " or %s", level[(first + 1 + below(v, n - 1)) % n]);
}

static void draw_condition(vehicle *v, char *t, int l)
{
    char name[NAME];
    int at = draw_on_every(v, l);
    switch (below(v, 6)) {
    case 0: put(t, " with bypass"); break;
    case 1: put(t, " with swap"); break;
    case 2: put(t, v->fed[l] >= 0 ? " with jumper" : " with swap"); break;
    case 3:
        if (at >= 0) {
            name_of(v, at, name);
            put(t, " with bypass at %s", name);
        }
        break;
    case 4: put(t, " with repaired l%d.wire and swap", l); break;
    default:
        if (at >= 0) {
            name_of(v, at, name);
            put(t, " with repaired %s%s", name, v->fed[l] >= 0 && chance(v, 30) ? " and jumper" : "");
        }
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
        int l = below(v, v->loads);
        put(t, "peek %s%s %s", v->load[l].name, chance(v, 50) ? ".wire" : "", chance(v, 50) ? "good" : "bad");
    } else {
        put(t, "look %s %s", v->place[below(v, v->places)].name, pick(v, 4, outcome));
    }
    draw_sure(v, t, 20);
    put(t, "\n");
}

static void draw_pair(vehicle *v, char *t)
{
    int a = below(v, v->loads), b = (a + 1 + below(v, v->loads - 1)) % v->loads;
    put(t, "%s l%d to l%d %s", chance(v, 50) ? "backfeed" : "pull", a, b, chance(v, 50) ? "present" : "absent");
    draw_sure(v, t, 20);
    put(t, "\n");
}

static void draw_drop(vehicle *v, char *t)
{
    static const char *const volts[] = {"0.004 V", "20 mV", "0.09 V", "0.35 V", "1.7 V", "12 V"};
    int l = below(v, v->loads), also = (l + 1) % v->loads;
    char span[32];
    if (!v->known[l] || !draw_span(v, l, false, span))
        return;
    put(t, "drop l%d%s %s%s", l, span, pick(v, 6, volts), chance(v, 20) ? " at 1.2 A" : "");
    if (v->known[also] && chance(v, 25))
        put(t, " also l%d", also);
    put(t, "\n");
}

static void draw_ohms(vehicle *v, char *t, const char *base)
{
    static const char *const ohms[] = {"0.3 ohm", "1.4 ohm", "25 ohm", "open"};
    int l = below(v, v->loads);
    char span[32];
    bool beeper = chance(v, 50);
    if (strstr(base, beeper ? "meter beeper" : "meter ohms") == NULL || !draw_span(v, l, true, span))
        return;
    if (beeper)
        put(t, "continuity l%d%s %s\n", l, span, chance(v, 50) ? "beeps" : "silent");
    else
        put(t, "resistance l%d%s %s\n", l, span, pick(v, 4, ohms));
}

static void draw_supply(vehicle *v, char *t)
{
    static const char *const volts[] = {"12.4 V", "11.7 V", "9.2 V", "0.01 V"};
    int l = below(v, v->loads);
    if (v->known[l])
        put(t, "supply l%d %s\n", l, pick(v, 4, volts));
}

static void draw_others(vehicle *v, char *t)
{
    if (chance(v, 60))
        put(t, "others work\n");
    else
        put(t, "others of %s work\n", v->place[below(v, v->places)].name);
}

static void draw_line(vehicle *v, char *t, const char *base)
{
    int what = below(v, 100);
    if (what < 42)
        draw_behaviour(v, t);
    else if (what < 50)
        put(t, "y0 %s\n", chance(v, 50) ? "present" : "absent");
    else if (what < 60)
        draw_inspection(v, t);
    else if (what < 67)
        draw_pair(v, t);
    else if (what < 77)
        draw_drop(v, t);
    else if (what < 84)
        draw_ohms(v, t, base);
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
    if (chance(v, 25))
        put(t, " with repaired %s", v->place[below(v, v->places)].name);
    put(t, "\n");
}

static void draw_cases(vehicle *v, char *t, const char *base)
{
    for (int i = 0; i < 3; i++) {
        put(t, "case \"%d\" on rnd \"drawn\"\n", i);
        int occasions = 1 + (below(v, 3) == 0) + (below(v, 6) == 0);
        for (int o = 0; o < occasions; o++) {
            if (o > 0 || chance(v, 40))
                draw_occasion(v, t, o);
            for (int n = 1 + below(v, 4); n > 0; n--)
                draw_line(v, t, base);
        }
        put(t, "\n");
    }
}

void draw_vehicle(uint64_t seed, drawn *out)
{
    vehicle v = {.state = seed * 7919 + 1};
    memset(out, 0, sizeof *out);
    draw_base(&v, out->base);
    draw_rules(&v, out->rules);
    for (int l = 0; l < v.loads; l++) {
        way so_far = {0};
        walk(&v, l, &v.load[l], &so_far);
    }
    draw_cases(&v, out->cases, out->base);
}

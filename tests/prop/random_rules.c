/* random_rules.c: draws vehicles of every statement and clause.
 *
 * Invariant: what is drawn is valid; feeds and coils stand in one order (a feed
 * is operated by a load whose feed comes before it), so nothing feeds itself.
 */
#include "random_inside.h"

#include <assert.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

uint64_t draw_next(uint64_t *state)
{
    uint64_t z = (*state += 0x9E3779B97F4A7C15u);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
}

int below(vehicle *v, int n) { return (int)(draw_next(&v->state) % (uint64_t)n); }
bool chance(vehicle *v, int percent) { return below(v, 100) < percent; }

double between(vehicle *v, double low, double high)
{
    return low + (high - low) * (double)(draw_next(&v->state) >> 11) / 9007199254740992.0;
}

double log_between(vehicle *v, double low, double high)
{
    return exp(between(v, log(low), log(high)));
}

const char *pick(vehicle *v, int count, const char *const *list) { return list[below(v, count)]; }

void put(char *text, const char *format, ...)
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

const char *const draw_levels_of[3][LEVELS] = {
    {"normal", "flickers", "dim", "dead"}, {"fine", "slow", "stuck"}, {"normal", "noisy", "jumps", "misreads", "silent"}};
const int draw_level_count[3] = {4, 3, 5};

/* A law now and then without a spread: one resistance for all. */
static void draw_corroded(vehicle *v, char *t)
{
    put(t, "joint corroded %.3g ohm", log_between(v, 0.02, 4));
    if (chance(v, 85))
        put(t, " spread %.3g", between(v, 1.2, 7));
}

/* One fault or two, and little hidden of them, so that more elements can be enumerated. */
static void draw_lean_class(vehicle *v, char *t, const char *name)
{
    static const char *const state[] = {"loose", "corroded", "open"};
    int first = below(v, 3), count = 1 + chance(v, 20);
    put(t, "class %s", name);
    for (int i = 0; i < count; i++)
        put(t, " %s %.3g%%", state[(first + i) % 3], between(v, 2, 15));
    put(t, "%s\n", chance(v, 20) ? " quiet 40%" : "");
}

static void draw_class(vehicle *v, char *t, const char *name)
{
    put(t, "class %s loose %.3g%%", name, between(v, 0.2, 9));
    if (chance(v, 92))
        put(t, " corroded %.3g%%", between(v, 0.2, 12));
    if (chance(v, 88))
        put(t, "\n    open %.3g%%", between(v, 0, 5));
    if (chance(v, 50))
        put(t, " quiet %.3g%%", chance(v, 15) ? 0.0 : chance(v, 10) ? 100.0 : between(v, 5, 95));
    if (v->has.joints && chance(v, 50))
        put(t, " joint sound %.3g mohm%s", log_between(v, 0.05, 9), chance(v, 50) ? " spread 1.8" : "");
    if (v->has.joints && chance(v, 50)) {
        put(t, " ");
        draw_corroded(v, t);
    }
    if (chance(v, 25))
        put(t, " by 1 mm2 80 cm");
    put(t, "\n");
}

static void draw_classes(vehicle *v, char *t)
{
    static const char *const name[] = {"point", "splice", "connector", "wire", "feed", "wet"};
    for (int i = 0; i < 6; i++)
        if (v->lean)
            draw_lean_class(v, t, name[i]);
        else
            draw_class(v, t, name[i]);
    if (chance(v, 10))   /* never sound: exactly 100 % */
        put(t, "class rotten loose 20%% corroded 0.5 open 30%%\n");
    else
        put(t, "class rotten corroded 40%%\n");
}

/* Some of the levels but the first, each once, adding to less than 100 %. */
static void draw_row(vehicle *v, char *t, int kind)
{
    double left = 97;
    int start = 1 + below(v, draw_level_count[kind] - 1);
    for (int i = start; i < draw_level_count[kind]; i++) {
        double p = between(v, 0, left);
        put(t, " %s %.4g%%", draw_levels_of[kind][i], p);
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
    for (int n = v->has.joints ? below(v, 4) : 0; n > 0; n--) {
        volts += chance(v, 10) ? 12 : between(v, 0.3, 4);
        put(t, "    short of %.3g V", volts);
        draw_row(v, t, kind);
        put(t, "\n");
    }
}

static void draw_kind(vehicle *v, char *t, int kind)
{
    v->kind_draws[kind] = chance(v, 60);
    put(t, "kind kind%d behaves ", kind);
    for (int i = 0; i < draw_level_count[kind]; i++)
        put(t, "%s%s", i == 0 ? "" : ", ", draw_levels_of[kind][i]);
    put(t, " failed %.3g%% check %.2g min%s\n", between(v, 0.2, 8), between(v, 0.2, 3),
        v->kind_draws[kind] ? " draws 25 W" : "");
    draw_rows(v, t, kind);
    if (chance(v, 90)) {
        put(t, "    when failed");
        draw_row(v, t, kind);
        put(t, "\n");
    }
    if (!v->sharp && chance(v, 85)) {
        put(t, "    otherwise %s %.4g%%", draw_levels_of[kind][draw_level_count[kind] - 1], between(v, 0.1, 3));
        if (chance(v, 60))
            put(t, "  %s %.4g%%", draw_levels_of[kind][1], between(v, 0.1, 3));
    }
    put(t, "\n");
}

static void draw_inspections(vehicle *v, char *t)
{
    put(t, "inspection look of point, splice, connector shows clean, corroded, loose, broken check 3 min\n");
    if (!v->sharp && chance(v, 70))
        put(t, "    when sound corroded %.4g%%  loose %.4g%%\n", between(v, 0, 9), between(v, 0, 4));
    put(t, "    when loose loose %.4g%%  corroded %.4g%%\n", between(v, 5, 60), between(v, 0, 35));
    put(t, "    when corroded corroded %.4g%%  broken %.4g%%\n", between(v, 5, 80), between(v, 0, 15));
    put(t, "    when open broken %.4g%%  loose %.4g%%\n", between(v, 5, 70), between(v, 0, 25));
    put(t, "inspection peek of feed, wire, load shows good, bad check 1.5 min\n    when loose bad %.3g%%\n"
           "    when corroded bad %.3g%%\n    when open bad %.3g%%\n    when failed bad %.3g%%\n",
        between(v, 1, 95), between(v, 1, 95), between(v, 1, 95), between(v, 1, 95));
    if (!v->sharp && chance(v, 70))
        put(t, "    when sound bad 2%%\n");
}

static void draw_grades(vehicle *v, char *t)
{
    static const char *const grades[] = {"", "", "", "grades 0.3 ohm\n", "grades 80 mohm, 2 ohm\n",
                                         "grades 50 mohm, 0.5 ohm, 5 ohm\n"};
    if (v->has.joints && !v->lean)
        put(t, "%s", pick(v, 6, grades));
}

static void draw_meters(vehicle *v, char *t)
{
    static const char *const volts[] = {" bands 50 mV, 100 mV, 500 mV, 2 V, 8 V", " bands -10 mV, 0.2 V, 1 V, 30 V", "",
                                        " bands 50 mV, 100 mV, 200 mV, 500 mV, 2 V, 8 V"};
    static const char *const ohms[] = {" bands 0.5 ohm, 1 ohm, 10 ohm, 100 ohm", " bands -1 ohm, 300 mohm, 2 kohm", ""};
    if (v->has.volts)
        put(t, "meter volts reads 0.5%% plus 2 mV misread %d%%%s check 2 min%s\n", below(v, 4),
            chance(v, 60) ? " zero 2%" : "", volts[chance(v, 70) ? 0 : below(v, 4)]);
    if (v->has.ohms)
        put(t, "meter ohms reads 1%% plus 0.2 ohm misread %d%% check 3 min%s\n", below(v, 3),
            ohms[chance(v, 80) ? 0 : below(v, 3)]);
    if (v->has.beeper)
        put(t, "meter beeper beeps below %d ohm misread %d%%\n", 1 + below(v, 40), below(v, 3));
}

static void draw_crosstalk(vehicle *v, char *t, const char *word)
{
    static const char *const state[] = {" loose", " corroded", " open"};
    put(t, "%s otherwise %s%%", word, v->sharp ? "0" : "0.4");
    for (int i = 0; i < 3; i++)
        if (chance(v, 85))
            put(t, "%s %.3g%%", state[i], between(v, 1, 90));
    put(t, "%s\n", chance(v, 50) ? " check 90 s" : "");
}

static void draw_joints(vehicle *v, char *t)
{
    put(t, "joint sound %.3g mohm%s\n", log_between(v, 0.2, 9), chance(v, 20) ? "" : " spread 2.2");
    draw_corroded(v, t);
    put(t, "\n");
    if (chance(v, 50))
        put(t, "joint open leaks %.3g%%\n", between(v, 1, 50));
}

static void draw_actions(vehicle *v, char *t)
{
    if (chance(v, 85))
        put(t, "bypass check 4 min up to %d A\n", 1 + below(v, 5));
    if (chance(v, 85))
        put(t, "swap check 6 min\n");
    if (chance(v, 85))
        put(t, "jumper%s up to 5 A\n", chance(v, 50) ? " check 5 min" : "");
}

static void draw_base(vehicle *v, char *t)
{
    v->has = (statements){.joints = chance(v, 95), .volts = chance(v, 92), .ohms = chance(v, 90),
                          .beeper = chance(v, 90), .backfeed = chance(v, 92), .pull = chance(v, 92)};
    v->lean = chance(v, 25);
    v->sharp = chance(v, 20);
    put(t, "language 1\n# drawn at random\n");
    draw_classes(v, t);
    for (int k = 0; k < 3; k++)
        draw_kind(v, t, k);
    draw_inspections(v, t);
    if (v->has.backfeed)
        draw_crosstalk(v, t, "backfeed");
    if (v->has.pull)
        draw_crosstalk(v, t, "pull");
    if (v->has.joints)
        draw_joints(v, t);
    if (!v->lean && chance(v, 90))
        put(t, "joint loose quiet %.3g%%\n", between(v, 5, 90));
    draw_grades(v, t);
    draw_meters(v, t);
    draw_actions(v, t);
    put(t, "splice gone1\nsymptom gone2 from gone1 loose 20%% otherwise 1%%\n");
    put(t, "area a1 \"replaced\" access 40 min do not probe\n");
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

/* `returns through` one of the first `places` places, at times two or three, maybe one of them twice. */
static void draw_returns(vehicle *v, char *t, place *p, int places)
{
    p->alternatives = 1;
    if (v->forks < MOST_FORKS && chance(v, v->lean ? 15 : 27))
        p->alternatives = !v->lean && chance(v, 15) ? 3 : 2;
    v->forks += p->alternatives - 1;
    for (int a = 0; a < p->alternatives; a++) {
        p->parent[a] = below(v, places);
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
    static const char *const what[] = {"probe", "bypass", "jumper, swap", "disconnect", "probe, bypass", "swap"};
    if (chance(v, 12))
        put(t, " do not %s", pick(v, 6, what));
}

static void draw_places(vehicle *v, char *t)
{
    int points = v->lean ? 2 + below(v, 4) : 1 + below(v, 2), splices = v->lean ? 1 + below(v, 4) : below(v, 2);
    for (int i = 0; i < points + splices; i++) {
        place *p = &v->place[i];
        bool point = i < points;
        snprintf(p->name, sizeof p->name, "%c%d", point ? 'p' : 's', point ? i : i - points);
        put(t, "%s %s \"place %d\"%s", point ? "point" : "splice", p->name, i, chance(v, 20) ? " class wet" : chance(v, 5) ? " class rotten" : "");
        if (i > 0 && (!point || chance(v, 75)))
            draw_returns(v, t, p, i);
        draw_area(v, t);
        draw_do_not(v, t);
        put(t, "\n");
        v->places++;
    }
}

/* A feed is fed by an earlier one, and operated by a load that is fed by an earlier one. */
static void draw_feed(vehicle *v, char *t, int f)
{
    put(t, "feed f%d%s", f, chance(v, 10) ? " class wet" : "");
    if (f > 0 && chance(v, 60))
        put(t, " fed by f%d%s", below(v, f), chance(v, 35) && v->connectors > 0 ? " via c0" : "");
    if (f > 0 && chance(v, 50))
        put(t, " operated by l%d", f - 1);
    draw_area(v, t);
    draw_do_not(v, t);
    put(t, "\n");
}

static void draw_feeds(vehicle *v, char *t)
{
    v->feeds = 1 + chance(v, 60) + (v->loads > 2 && chance(v, 30));
    for (int f = 0; f < v->feeds; f++)
        draw_feed(v, t, f);
}

static void draw_load(vehicle *v, char *t, int l)
{
    static const char *const draws[] = {" draws 5 W", " draws 21 W", " draws 0.9 A", " draws 3.4 A", " draws 150 mA"};
    place *p = &v->load[l];
    snprintf(p->name, sizeof p->name, "l%d", l);
    v->kind[l] = below(v, 3);
    put(t, "load %s kind kind%d", p->name, v->kind[l]);
    bool own = chance(v, 75);
    v->known[l] = own || v->kind_draws[v->kind[l]];
    if (own)
        put(t, "%s", pick(v, 5, draws));
    if (chance(v, 15))
        put(t, " failed %.3g%%", between(v, 0.5, 10));
    if (chance(v, 15))
        put(t, " wire class wet");
    draw_returns(v, t, p, v->places);
    /* load n may be the coil of feed n + 1 */
    v->fed[l] = chance(v, 88) ? below(v, l + 1 < v->feeds ? l + 1 : v->feeds) : -1;
    if (v->fed[l] >= 0)
        put(t, " fed by f%d%s", v->fed[l], chance(v, 25) && v->connectors > 0 ? " via c0" : "");
    draw_area(v, t);
    draw_do_not(v, t);
    put(t, "\n");
}

/* A few of the states that a cause may have. */
static void draw_cause(vehicle *v, char *t)
{
    static const char *const state[] = {"loose", "corroded", "open"};
    int first = below(v, 3), count = 1 + below(v, 3);
    for (int i = 0; i < count; i++)
        put(t, " %s %.3g%%", state[(first + i) % 3], between(v, 1, 70));
    put(t, "%s\n", chance(v, 8) ? " sound 2%" : "");
}

static void draw_causes(vehicle *v, char *t)
{
    put(t, "    from %s", v->place[below(v, v->places)].name);
    draw_cause(v, t);
    for (int i = 0; i < 2; i++)
        if (chance(v, 40)) {
            put(t, "    from %s of l%d", chance(v, 60) ? "return" : "feed", below(v, v->loads));
            draw_cause(v, t);
        }
    if (chance(v, 40))
        put(t, "    from l%d failed %.3g%%%s\n", below(v, v->loads), between(v, 1, 60),
            chance(v, 10) ? " sound 1%" : "");
    if (chance(v, 30))
        put(t, "    from l%d.wire open 50%%\n", below(v, v->loads));
    if (chance(v, 25)) {
        put(t, "    from f%d", below(v, v->feeds));
        draw_cause(v, t);
    }
    if (v->connectors > 0 && chance(v, 25)) {
        put(t, "    from c%d", below(v, v->connectors));
        draw_cause(v, t);
    }
}

static void draw_symptoms(vehicle *v, char *t)
{
    v->symptoms = 1 + chance(v, 40);
    for (int i = 0; i < v->symptoms; i++) {
        put(t, "symptom y%d \"something odd\"%s\n", i, chance(v, 50) ? " check 2 min" : "");
        draw_causes(v, t);
        if (!v->sharp && chance(v, 85))
            put(t, "    otherwise %.3g%%\n", between(v, 0.1, 3));
    }
}

static void draw_connector(vehicle *v, char *t, int i)
{
    put(t, "connector c%d%s", i, chance(v, 15) ? " class wet" : "");
    draw_area(v, t);
    draw_do_not(v, t);
    put(t, "\n");
}

static void draw_area_statement(vehicle *v, char *t, int a)
{
    put(t, "area a%d \"area %d\" access %d min", a, a, 1 + below(v, 14));
    draw_do_not(v, t);
    put(t, "\n");
}

static void draw_rules(vehicle *v, char *t)
{
    put(t, "include \"base.gnd\"\nremove gone1\nremove gone2\n");
    v->supply = chance(v, 30) ? 24.8 : between(v, 11.5, 13);
    put(t, "vehicle rnd \"drawn\" revision 1 supply %.3g V", v->supply);
    if (chance(v, 70))
        put(t, " spread %.3g%%", between(v, 0.5, 4));
    put(t, "\n");
    if (chance(v, 40))
        put(t, "class wet loose %.3g%% corroded %.3g%%\n", between(v, 0.2, 9), between(v, 0.2, 9));
    for (int a = 0; a < 3; a++)
        draw_area_statement(v, t, a);
    v->connectors = below(v, 3);
    for (int i = 0; i < v->connectors; i++)
        draw_connector(v, t, i);
    draw_places(v, t);
    v->loads = v->lean ? 3 + below(v, 4) : 2 + chance(v, 40);
    draw_feeds(v, t);
    for (int l = 0; l < v->loads; l++)
        draw_load(v, t, l);
    draw_symptoms(v, t);
}

void draw_vehicle(uint64_t seed, drawn *out)
{
    vehicle v = {.state = seed * 7919 + 1};
    memset(out, 0, sizeof *out);
    draw_base(&v, out->base);
    draw_rules(&v, out->rules);
    draw_cases(&v, out->cases);
}

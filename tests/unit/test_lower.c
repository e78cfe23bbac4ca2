/* test_lower.c: rule files to models: names, includes, values, faults, memory.
 *
 * Files live in a table in memory; every message is kept, so that a test says
 * which were heard and that no other was.  Expected numbers are worked out
 * here from design.md, never taken from the code under test.
 */
#include "../../engine/model.h"
#include "../../engine/names.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* ---- a world in memory ---- */

typedef struct memory_file { const char *path, *text; } memory_file;

enum { MOST_HEARD = 128 };

typedef struct world {
    const memory_file *file;
    size_t files;
    size_t reads, lent;        /* files asked for; and not given back */
    char asked[4000];          /* their paths, each followed by a blank */
    int number[MOST_HEARD];    /* messages heard */
    size_t line[MOST_HEARD], other[MOST_HEARD];
    char text[MOST_HEARD][300];
    size_t heard;
    long allocations, fail_at, live;
    rl_context *context;
    rl_model *model;
} world;

static rl_status read_memory(void *user, const char *path, char **bytes, size_t *length)
{
    world *w = user;
    w->reads++;
    if (strlen(w->asked) + strlen(path) + 2 < sizeof w->asked) {
        strcat(w->asked, path);
        strcat(w->asked, " ");
    }
    for (size_t i = 0; i < w->files; i++) {
        if (strcmp(w->file[i].path, path) != 0)
            continue;
        if (w->file[i].text == NULL)
            return RL_REFUSED;
        *length = strlen(w->file[i].text);
        *bytes = malloc(*length + 1);
        if (*bytes == NULL)
            return RL_MEMORY;
        memcpy(*bytes, w->file[i].text, *length + 1);
        w->lent++;
        return RL_OK;
    }
    return RL_MISSING;
}

static void release_memory(void *user, char *bytes)
{
    world *w = user;
    w->lent--;
    free(bytes);
}

static void hear(void *user, const rl_report *report)
{
    world *w = user;
    if (w->heard >= MOST_HEARD)
        return;
    w->number[w->heard] = report->number;
    w->line[w->heard] = report->line;
    w->other[w->heard] = report->other_path == NULL ? 0 : report->other_line;
    snprintf(w->text[w->heard], sizeof w->text[0], "%s", report->text);
    w->heard++;
}

static void *take_counted(void *user, size_t size)
{
    world *w = user;
    if (++w->allocations == w->fail_at)
        return NULL;
    void *piece = malloc(size);
    w->live += piece != NULL;
    return piece;
}

static void give_counted(void *user, void *piece)
{
    world *w = user;
    w->live -= piece != NULL;
    free(piece);
}

static rl_status open_context(world *w, const char *rules)
{
    rl_settings settings = { .take = take_counted, .give = give_counted, .memory_user = w,
                             .sink = { hear, w }, .loader = { read_memory, release_memory, w },
                             .rules_folder = rules };
    return rl_context_new(&settings, &w->context);
}

static rl_status read_rules(world *w, const memory_file *file, size_t files, const char *path, const char *rules)
{
    *w = (world){ .file = file, .files = files };
    assert_int_equal(open_context(w, rules), RL_OK);
    return rl_model_read(w->context, path, &w->model);
}

/* Reads one file and expects a model. */
static void read_text(world *w, const char *text)
{
    memory_file file = { "a.gnd", text };
    rl_status status = read_rules(w, &file, 1, "a.gnd", NULL);
    if (status != RL_OK && w->heard > 0)
        print_error("%s\n", w->text[0]);
    assert_int_equal(status, RL_OK);
    assert_non_null(w->model);
}

/* Frees all and expects that nothing is left. */
static void close_world(world *w)
{
    rl_model_free(w->model);
    rl_context_free(w->context);
    assert_int_equal(w->live, 0);
    assert_int_equal(w->lent, 0);
}

static void assert_near(double a, double b, double relative)
{
    if (!(fabs(a - b) <= relative * fmax(fabs(a), fabs(b))))
        fail_msg("%.17g is not %.17g", a, b);
}

/* Expects exactly one message. */
static void assert_heard(const world *w, int number, size_t line)
{
    if (w->heard != 1 || w->number[0] != number)
        for (size_t i = 0; i < w->heard; i++)
            print_error("heard %d: %s\n", w->number[i], w->text[i]);
    assert_int_equal(w->heard, 1);
    assert_int_equal(w->number[0], number);
    assert_int_equal(w->line[0], line);
}

#define TRADE                                        \
    "class point loose 1% corroded 2% open 3%\n"     \
    "class splice loose 1%\n"                        \
    "class connector loose 1%\n"                     \
    "class wire open 1%\n"                           \
    "class feed open 1%\n"                           \
    "kind lamp behaves normal, dim, dead failed 1%\n"

/* ---- what a model holds ---- */

static const char whole_rules[] =
    "load left \"left lamp\" kind lamp draws 21 W returns through hub by 0.75 mm2 1.8 m or post via plug\n"
    "    in box fed by f1 via plug wire class thin\n"
    "splice hub in box returns through post by 10 AWG 2 m\n"
    "connector plug\n"
    "feed f1 rated 7.5 A operated by right\n"
    "load right kind lamp draws 2 A failed 7% returns through post\n"
    "point post torque 12 Nm\n"
    "symptom odd from left.wire open 30% from return of left loose 20% otherwise 1%\n"
    "inspection look of point, splice shows clean, dirty when open dirty 90%\n"
    "vehicle cart \"Cart\" revision 2.50 supply 12.6 V spread 4%\n"
    "class thin loose 4% quiet 50% joint corroded 3 ohm by 1 mm2 1 m limit 50 mV repair 9 min \"fix\"\n"
    "area box access 9 min do not swap\n"
    "joint sound 2 mohm spread 3\n"
    "joint corroded 0.8 ohm spread 5\n"
    "joint loose quiet 60%\n" TRADE;

static void test_elements(void **state)
{
    (void)state;
    static const char *const order[] = { "left", "left.wire", "hub", "plug", "f1", "right", "right.wire", "post" };
    world w;
    read_text(&w, whole_rules);
    assert_int_equal(w.heard, 0);
    assert_int_equal(rl_model_vehicle(w.model)->elements, 8);
    for (size_t i = 0; i < 8; i++) {
        assert_string_equal(rl_model_element(w.model, i)->id, order[i]);
        assert_int_equal(rl_model_find(w.model, order[i]), i);
    }
    assert_int_equal(rl_model_find(w.model, "odd"), -1);
    assert_int_equal(rl_find_symptom(w.model, "odd"), 0);
    assert_int_equal(rl_find_inspection(w.model, "look"), 0);
    assert_int_equal(rl_find_area(w.model, "box"), 0);
    assert_int_equal(rl_find_load(w.model, "post"), -1);
    jmp_buf bail;
    rl_arena scratch;
    rl_arena_init(&scratch, &w.context->allocator, 0);
    scratch.bail = &bail;
    assert_int_equal(setjmp(bail), 0);
    assert_string_equal(rl_nearest_name(&scratch, w.model, "hbu", RL_NAME_JOINT), "hub");
    assert_null(rl_nearest_name(&scratch, w.model, "hbu", RL_NAME_LOAD | RL_NAME_AREA));
    rl_arena_free(&scratch);
    close_world(&w);
}

static void test_load_and_wire(void **state)
{
    (void)state;
    world w;
    read_text(&w, whole_rules);
    const rl_element *left = rl_model_element(w.model, 0), *wire = rl_model_element(w.model, 1);
    assert_int_equal(left->wire, 1);
    assert_int_equal(wire->load, 0);
    assert_string_equal(left->class_name, "lamp");
    assert_string_equal(wire->class_name, "thin");
    assert_string_equal(wire->label, "left lamp ground wire");
    assert_near(left->current, 21 / 12.6, 1e-15);
    assert_near(left->prior[RL_FAILED], 0.01, 1e-15);
    assert_near(left->prior[RL_SOUND], 0.99, 1e-15);
    assert_near(rl_model_element(w.model, 5)->prior[RL_FAILED], 0.07, 1e-15);
    assert_near(wire->prior[RL_SOUND], 0.96, 1e-15);
    assert_near(wire->limit, 0.05, 1e-15);
    assert_near(left->limit, 0.1, 1e-15);
    assert_string_equal(wire->repair_text, "fix");
    assert_true(left->repair_minutes == -1);
    assert_int_equal(left->forbidden, RL_NO_SWAP);
    assert_int_equal(wire->forbidden, RL_NO_SWAP);
    assert_int_equal(wire->area, 0);
    assert_int_equal(rl_model_element(w.model, 7)->area, -1);
    assert_near(rl_model_element(w.model, 7)->torque, 12, 0);
    assert_near(rl_model_element(w.model, 4)->rated, 7.5, 0);
    assert_string_equal(rl_model_vehicle(w.model)->revision, "2.50");
    close_world(&w);
}

static void test_ways(void **state)
{
    (void)state;
    world w;
    int parent;
    const int *via;
    size_t count;
    read_text(&w, whole_rules);
    assert_true(rl_model_way(w.model, 1, 0, &parent, &via, &count));
    assert_int_equal(parent, 2);
    assert_int_equal(count, 0);
    assert_true(rl_model_way(w.model, 1, 1, &parent, &via, &count));
    assert_int_equal(parent, 7);
    assert_int_equal(count, 1);
    assert_int_equal(via[0], 3);
    assert_false(rl_model_way(w.model, 1, 2, &parent, &via, &count));
    assert_true(rl_model_way(w.model, 0, 0, &parent, &via, &count));
    assert_int_equal(parent, 4);
    assert_false(rl_model_way(w.model, 7, 0, &parent, &via, &count));
    assert_int_equal(w.model->node[4].coil, 5);
    /* rho L / A, by hand; AWG 10 is (pi/4) (0.127 mm 92^(26/39))^2 */
    double awg = 0.78539816339744831 * pow(0.127 * pow(92, 26.0 / 39), 2);
    assert_near(w.model->node[1].way[0].conductor, 0.0172414 * 1.8 / 0.75, 1e-12);
    assert_near(w.model->node[1].way[1].conductor, 0.0172414, 1e-12); /* the class's */
    assert_near(w.model->node[2].way[0].conductor, 0.0172414 * 2 / awg, 1e-12);
    close_world(&w);
}

static void test_laws(void **state)
{
    (void)state;
    world w;
    read_text(&w, whole_rules);
    const rl_node *wire = &w.model->node[1], *post = &w.model->node[7];
    assert_near(wire->corroded.median, 3, 0);
    assert_true(wire->corroded.log_spread == 0); /* a spread that is not said is 1 */
    assert_near(wire->sound.median, 0.002, 1e-15);
    assert_near(wire->sound.log_spread, log(3), 1e-15);
    assert_near(wire->quiet, 0.5, 1e-15);
    assert_near(post->quiet, 0.6, 1e-15);
    assert_near(post->corroded.log_spread, log(5), 1e-15);
    assert_int_equal(w.model->bins, 1);
    assert_near(post->bin_mass[0], 1, 0);
    assert_near(w.model->bin_law_mass[0], 1, 1e-15);
    assert_near(post->bin_median[0], 0.8, 1e-12);
    close_world(&w);
}

static double below(double z)
{
    return 0.5 * erfc(-z / sqrt(2));
}

static void test_bins(void **state)
{
    (void)state;
    world w;
    read_text(&w, "vehicle cart supply 12 V\ngrades 50 mohm, 0.5 ohm, 5 ohm\njoint sound 2 mohm\n"
                  "joint corroded 0.8 ohm spread 5\nclass narrow joint corroded 1 ohm spread 1.05\n"
                  "point a class narrow\npoint b\n" TRADE);
    double z1 = below(log(0.05 / 0.8) / log(5)), z2 = below(log(0.5 / 0.8) / log(5)), z3 = below(log(5 / 0.8) / log(5));
    const double *mass = w.model->node[1].bin_mass, *narrow = w.model->node[0].bin_mass;
    assert_int_equal(w.model->bins, 4);
    assert_near(w.model->bin_law_mass[0], z1, 1e-10);
    assert_near(mass[1], z2 - z1, 1e-10);
    assert_near(mass[2], z3 - z2, 1e-10);
    assert_near(mass[3], 1 - z3, 1e-10);
    /* 1 ohm spread 1.05 keeps within [0.5, 5]: ln 2 / ln 1.05 is over 14 sigma */
    assert_true(narrow[0] == 0 && narrow[1] == 0 && narrow[3] == 0);
    assert_near(narrow[2], 1, 1e-15);
    assert_true(isinf(w.model->edge[4]) && w.model->edge[0] == 0);
    close_world(&w);
}

static void test_rows(void **state)
{
    (void)state;
    world w;
    read_text(&w, "vehicle cart supply 12 V\njoint sound 2 mohm\njoint corroded 1 ohm\n"
                  "kind motor behaves normal, slow, dead failed 1%\n"
                  "  when loose slow 30%\n  when feed loose dead 20%\n  when return corroded slow 10% dead 20%\n"
                  "  short of 5 V dead 50%\n  short of 700 mV slow 50%\n  when open dead 100%\n"
                  "inspection look of point shows clean, dirty, gone when open gone 10% dirty 20%\n");
    const rl_behaviour *motor = &w.model->kind[0];
    assert_near(motor->row[0][RL_LOOSE][1], 0.3, 1e-15);
    assert_near(motor->row[1][RL_LOOSE][2], 0.2, 1e-15);
    assert_near(motor->row[1][RL_LOOSE][0], 0.8, 1e-15);
    assert_near(motor->row[0][RL_CORRODED][0], 0.7, 1e-15);
    assert_null(motor->row[1][RL_CORRODED]);
    assert_near(motor->failed[0], 1, 0);      /* a cause without a row draws the first level */
    assert_near(motor->otherwise[0], 1, 0);
    assert_true(motor->row[0][RL_OPEN] == motor->row[1][RL_OPEN] && motor->row[0][RL_OPEN][0] == 0);
    assert_int_equal(motor->shortfalls, 2);
    assert_near(motor->shortfall[0].volts, 0.7, 1e-15);
    assert_near(motor->shortfall[1].row[2], 0.5, 1e-15);
    assert_true(w.model->look[0].row[RL_SOUND][0] == 1 && w.model->look[0].row[RL_FAILED][0] == 1);
    assert_near(w.model->look[0].row[RL_OPEN][2], 0.1, 1e-15);
    close_world(&w);
}

/* 10 % + 20 % + 70 % and every such sum are 100 %: nothing is left, exactly. */
static void test_full_rows(void **state)
{
    (void)state;
    for (int a = 1; a < 99; a++) {
        char text[400];
        world w;
        snprintf(text, sizeof text, "vehicle cart supply 12 V\nkind k behaves n, a, b failed 1%%\n"
                 "  when open a %d%% b %d%%\nclass c loose %d%% corroded %d%%\npoint p class c\n", a, 100 - a, a, 100 - a);
        read_text(&w, text);
        assert_true(w.model->kind[0].row[0][RL_OPEN][0] == 0);
        assert_true(w.model->node[0].info.prior[RL_SOUND] == 0);
        close_world(&w);
    }
}

static void test_once_statements(void **state)
{
    (void)state;
    world w;
    read_text(&w, "vehicle cart supply 12 V\nmeter volts reads 0.5% plus 2 mV misread 2% zero 1% bands 50 mV, 8 V\n"
                  "meter beeper beeps below 30 ohm\nbackfeed loose 10% otherwise 0.3% check 30 s\n"
                  "bypass up to 15 A\njoint open leaks 20%\n");
    const rl_model *m = w.model;
    assert_true(m->volts.given && m->beeper.given && m->backfeed.given && m->bypass.given);
    assert_false(m->ohms.given || m->pull.given || m->jumper.given);
    assert_near(m->volts.share, 0.005, 1e-15);
    assert_near(m->volts.plus, 0.002, 1e-15);
    assert_int_equal(m->volts.bands, 2);
    assert_near(m->backfeed.check, 0.5, 1e-15);
    assert_near(m->backfeed.p[RL_LOOSE], 0.1, 1e-15);
    assert_near(m->bypass.check, 1, 0);
    assert_near(m->bypass.up_to, 15, 0);
    assert_true(m->jumper.check == 1 && isinf(m->jumper.up_to));
    assert_near(m->leaks, 0.2, 1e-15);
    close_world(&w);
}

static void test_derived_cautions(void **state)
{
    (void)state;
    world w;
    read_text(&w, "vehicle cart supply 12 V\narea box caution \"hot\"\n"
                  "load bag \"air bag\" kind lamp caution \"wait\" in box do not disconnect returns through s via plug or b\n"
                  "load unit kind lamp do not probe returns through b\nload lamp1 kind lamp returns through a caution \"x\"\n"
                  "connector plug\nsplice s returns through a caution \"own\"\npoint a\npoint b\n" TRADE);
    const rl_element *s = rl_model_element(w.model, (size_t)rl_model_find(w.model, "s"));
    const rl_element *b = rl_model_element(w.model, (size_t)rl_model_find(w.model, "b"));
    const rl_element *bag = rl_model_element(w.model, 0), *wire = rl_model_element(w.model, 1);
    assert_int_equal(s->cautions.count, 2);
    assert_int_equal(s->derived, 1);
    assert_string_equal(s->cautions.text[0], "own");
    assert_string_equal(s->cautions.text[1], "undoing this also opens air bag: wait");
    assert_int_equal(b->cautions.count, 2);
    assert_string_equal(b->cautions.text[1], "undoing this also opens unit: do not probe");
    assert_int_equal(bag->cautions.count, 2);
    assert_int_equal(bag->derived, 0);
    assert_string_equal(bag->cautions.text[1], "hot");
    assert_int_equal(wire->cautions.count, 2);
    assert_string_equal(wire->cautions.text[0], "hot");
    assert_int_equal(rl_model_element(w.model, (size_t)rl_model_find(w.model, "plug"))->cautions.count, 1);
    assert_int_equal(rl_model_element(w.model, (size_t)rl_model_find(w.model, "lamp1.wire"))->cautions.count, 0);
    close_world(&w);
}

/* The same statements from the last to the first: every name means the same. */
static void test_any_order(void **state)
{
    (void)state;
    static const char *const statement[] = {
        "load left kind lamp draws 21 W returns through hub or post via plug in box fed by f1 wire class thin\n",
        "splice hub in box returns through post\n", "connector plug\n", "feed f1 operated by right\n",
        "load right kind lamp draws 2 A returns through post\n", "point post\n", "class thin loose 4%\n",
        "vehicle cart supply 12.6 V\n", "area box do not swap\n", "joint sound 2 mohm spread 3\n", TRADE,
    };
    enum { STATEMENTS = sizeof statement / sizeof *statement };
    char forth[2000] = "", back[2000] = "";
    world a, b;
    for (size_t i = 0; i < STATEMENTS; i++) {
        strcat(forth, statement[i]);
        strcat(back, statement[STATEMENTS - 1 - i]);
    }
    read_text(&a, forth);
    read_text(&b, back);
    for (int i = 0; i < a.model->nodes; i++) {
        const rl_node *n = &a.model->node[i];
        const rl_node *m = &b.model->node[rl_find_element(b.model, n->info.id)];
        assert_string_equal(n->info.class_name, m->info.class_name);
        assert_memory_equal(n->info.prior, m->info.prior, sizeof n->info.prior);
        assert_true(n->info.current == m->info.current && n->info.forbidden == m->info.forbidden);
        assert_true(n->sound.median == m->sound.median && n->sound.log_spread == m->sound.log_spread);
        assert_int_equal(n->way_count, m->way_count);
        for (int w = 0; w < n->way_count; w++)
            assert_string_equal(a.model->node[n->way[w].parent].info.id, b.model->node[m->way[w].parent].info.id);
    }
    close_world(&a);
    close_world(&b);
}

/* ---- includes ---- */

static void test_replace_in_place(void **state)
{
    (void)state;
    static const memory_file files[] = {
        { "cars/a.gnd", "include \"base.gnd\"\nremove two\npoint one class other\nvehicle mine supply 24 V\npoint four\n" },
        { "cars/base.gnd", "vehicle cart supply 12 V\npoint nil\npoint one\npoint two\nload three kind lamp returns through one\n"
                           "class other loose 9%\n" TRADE },
    };
    world w;
    assert_int_equal(read_rules(&w, files, 2, "cars/a.gnd", NULL), RL_OK);
    assert_string_equal(rl_model_vehicle(w.model)->id, "mine");
    assert_int_equal(rl_model_vehicle(w.model)->elements, 5);
    assert_int_equal(rl_model_find(w.model, "nil"), 0);
    assert_int_equal(rl_model_find(w.model, "one"), 1);
    assert_int_equal(rl_model_find(w.model, "two"), -1);
    assert_int_equal(rl_model_find(w.model, "four"), 4);
    assert_string_equal(rl_model_element(w.model, 1)->class_name, "other");
    assert_int_equal(rl_model_flags(w.model), 5);
    assert_string_equal(rl_model_flag(w.model, 1).path, "cars/a.gnd");
    assert_int_equal(rl_model_flag(w.model, 1).line, 3);
    assert_string_equal(rl_model_flag(w.model, 0).path, "cars/base.gnd");
    assert_string_equal(rl_model_flag(w.model, 0).what, "nil");
    close_world(&w);
}

/* A file may replace what it includes, wherever its include stands, over any number of steps. */
static void test_replace_deep(void **state)
{
    (void)state;
    static const memory_file files[] = {
        { "a.gnd", "joint sound 1 mohm\ninclude \"b.gnd\"\ninclude \"c.gnd\"\n" },
        { "b.gnd", "include \"c.gnd\"\nvehicle v supply 10 V\n" },
        { "c.gnd", "joint sound 3 mohm\nvehicle cart supply 12 V\n" },
    };
    world w;
    assert_int_equal(read_rules(&w, files, 3, "a.gnd", NULL), RL_OK);
    assert_near(w.model->sound.median, 0.001, 1e-15);
    assert_near(rl_model_vehicle(w.model)->supply, 10, 0);
    assert_int_equal(w.reads, 3);
    close_world(&w);
}

static void test_rules_folder(void **state)
{
    (void)state;
    static const memory_file files[] = {
        { "cars/a.gnd", "include \"trade.gnd\"\ninclude \"own.gnd\"\n" },
        { "cars/own.gnd", "vehicle cart supply 12 V\n" },
        { "/rules/trade.gnd", "include \"own.gnd\"\n" },
        { "/rules/own.gnd", "joint sound 1 mohm\n" },
    };
    world w;
    assert_int_equal(read_rules(&w, files, 4, "cars/a.gnd", "/rules"), RL_OK);
    assert_string_equal(w.asked, "cars/a.gnd cars/trade.gnd /rules/trade.gnd /rules/own.gnd cars/own.gnd ");
    close_world(&w);
}

static void test_include_never_leaves(void **state)
{
    (void)state;
    static const char *const outside[] = { "/etc/rules.gnd", "../b.gnd", "x/../../b.gnd", "..", ".", "", "x/..", "./../b.gnd" };
    for (size_t i = 0; i < sizeof outside / sizeof *outside; i++) {
        char text[100];
        world w;
        snprintf(text, sizeof text, "include \"%s\"\nvehicle cart supply 12 V\n", outside[i]);
        memory_file files[] = { { "cars/a.gnd", text }, { "b.gnd", "" }, { "/etc/rules.gnd", "" } };
        assert_int_equal(read_rules(&w, files, 3, "cars/a.gnd", "/rules"), RL_INPUT);
        assert_heard(&w, 605, 1);
        assert_int_equal(w.reads, 1);
        close_world(&w);
    }
}

/* From a folder below, `..` leads back up to the top and no further. */
static void test_include_up_again(void **state)
{
    (void)state;
    static const memory_file files[] = {
        { "cars/a.gnd", "include \"sub/b.gnd\"\n" },
        { "cars/sub/b.gnd", "include \"../c.gnd\"\ninclude \"../../d.gnd\"\n" },
        { "cars/c.gnd", "vehicle cart supply 12 V\n" },
        { "d.gnd", "" },
    };
    world w;
    assert_int_equal(read_rules(&w, files, 4, "cars/a.gnd", NULL), RL_INPUT);
    assert_heard(&w, 605, 2);
    assert_string_equal(w.asked, "cars/a.gnd cars/sub/b.gnd cars/c.gnd ");
    close_world(&w);
}

static void test_include_faults(void **state)
{
    (void)state;
    static const memory_file files[] = {
        { "a.gnd", "include \"gone.gnd\"\ninclude \"shut.gnd\"\ninclude \"b.gnd\"\nvehicle cart supply 12 V\npoint x class unheard\n" },
        { "b.gnd", "include \"a.gnd\"\n" },
        { "shut.gnd", NULL },
    };
    world w;
    assert_int_equal(read_rules(&w, files, 3, "a.gnd", NULL), RL_INPUT);
    assert_int_equal(w.heard, 3);
    assert_int_equal(w.number[0], 603);
    assert_int_equal(w.number[1], 604);
    assert_int_equal(w.number[2], 606);
    assert_string_equal(w.text[2], "the files include each other: a.gnd -> b.gnd -> a.gnd");
    close_world(&w);
    assert_int_equal(read_rules(&w, files, 3, "none.gnd", NULL), RL_INPUT);
    assert_heard(&w, 601, 1);
    close_world(&w);
    assert_int_equal(read_rules(&w, files, 3, "shut.gnd", NULL), RL_INPUT);
    assert_heard(&w, 602, 1);
    close_world(&w);
}

enum { CHAIN = 40, MANY = 1100, NAME = 16 };

static void test_include_depth(void **state)
{
    (void)state;
    static char path[CHAIN][NAME], text[CHAIN][40];
    memory_file files[CHAIN];
    world w;
    for (int i = 0; i < CHAIN; i++) {
        snprintf(path[i], NAME, "f%d.gnd", i);
        snprintf(text[i], 40, i == 0 ? "vehicle v supply 9 V\n\ninclude \"f%d.gnd\"\n" : "include \"f%d.gnd\"\n", i + 1);
        files[i] = (memory_file){ path[i], text[i] };
    }
    text[CHAIN - 1][0] = '\0';
    assert_int_equal(read_rules(&w, files, CHAIN, "f0.gnd", NULL), RL_INPUT);
    assert_heard(&w, 607, 1);
    assert_int_equal(w.reads, 33); /* the first and 32 below it */
    close_world(&w);
    text[32][0] = '\0';
    assert_int_equal(read_rules(&w, files, CHAIN, "f0.gnd", NULL), RL_OK);
    close_world(&w);
}

static void test_include_number(void **state)
{
    (void)state;
    static char path[MANY][NAME], root[MANY * 24];
    static memory_file files[MANY + 1];
    world w;
    root[0] = '\0';
    for (int i = 0; i < MANY; i++) {
        snprintf(path[i], NAME, "f%d.gnd", i);
        files[i] = (memory_file){ path[i], "" };
        snprintf(root + strlen(root), 24, "include \"f%d.gnd\"\n", i);
    }
    files[MANY] = (memory_file){ "root.gnd", root };
    assert_int_equal(read_rules(&w, files, MANY + 1, "root.gnd", NULL), RL_INPUT);
    assert_int_equal(w.number[0], 608);
    assert_int_equal(w.line[0], 1024); /* the root counts too */
    assert_int_equal(w.reads, 1024);
    close_world(&w);
}

/* ---- faults ---- */

static void test_declared_apart(void **state)
{
    (void)state;
    static const memory_file files[] = {
        { "a.gnd", "include \"b.gnd\"\ninclude \"c.gnd\"\nvehicle v supply 9 V\n" TRADE },
        { "b.gnd", "\npoint x\n" },
        { "c.gnd", "\n\n\nsplice x\n" },
    };
    world w;
    assert_int_equal(read_rules(&w, files, 3, "a.gnd", NULL), RL_INPUT);
    assert_heard(&w, 206, 4);
    assert_int_equal(w.other[0], 2);
    close_world(&w);
}

/* Errors beyond the limit (100) are counted in one sentence. */
static void test_error_limit(void **state)
{
    (void)state;
    static char text[20000];
    size_t n = (size_t)sprintf(text, "vehicle v supply 9 V\nclass point loose 1%%\n");
    for (int i = 0; i < 500; i++)
        n += (size_t)sprintf(text + n, "point p%d returns through gone%d\n", i, i);
    memory_file file = { "a.gnd", text };
    world w;
    assert_int_equal(read_rules(&w, &file, 1, "a.gnd", NULL), RL_INPUT);
    assert_int_equal(w.heard, 101);
    assert_int_equal(w.number[99], 201);
    assert_int_equal(w.number[100], 701);
    close_world(&w);
}

/* A damaged statement declares its name all the same: nothing follows from it. */
static void test_no_consequences(void **state)
{
    (void)state;
    memory_file file = { "a.gnd", "vehicle v supply 9 V\npoint x clas point\nload l kind lamp returns through x\n" TRADE };
    world w;
    assert_int_equal(read_rules(&w, &file, 1, "a.gnd", NULL), RL_INPUT);
    assert_int_equal(w.heard, 1);
    assert_int_equal(w.line[0], 2);
    close_world(&w);
}

/* A chain and a circle of a hundred thousand points: no stack grows with them. */
static void test_long_chain(void **state)
{
    (void)state;
    enum { POINTS = 100000, ROOM = 40 };
    char *text = malloc((size_t)POINTS * ROOM + 100);
    assert_non_null(text);
    for (int circle = 0; circle < 2; circle++) {
        size_t n = (size_t)sprintf(text, "vehicle v supply 9 V\nclass point loose 1%%\n");
        for (int i = 0; i < POINTS - 1; i++)
            n += (size_t)sprintf(text + n, "point p%d returns through p%d\n", i, i + 1);
        sprintf(text + n, "point p%d%s\n", POINTS - 1, circle ? " returns through p0" : "");
        memory_file file = { "a.gnd", text };
        world w;
        assert_int_equal(read_rules(&w, &file, 1, "a.gnd", NULL), circle ? RL_INPUT : RL_OK);
        if (circle) {
            assert_heard(&w, 414, 3);
            assert_string_equal(w.text[0], "the return runs in a circle: p0 -> p1 -> p2 -> p3 -> p4 -> p5 -> … -> "
                                           "p99994 -> p99995 -> p99996 -> p99997 -> p99998 -> p99999 -> p0");
        }
        close_world(&w);
    }
    free(text);
}

/* ---- memory ---- */

static void test_every_allocation(void **state)
{
    (void)state;
    static const memory_file files[] = {
        { "a.gnd", "include \"b.gnd\"\nvehicle v supply 9 V\nload bad kind lamp do not probe returns through post\n" },
        { "b.gnd", whole_rules },
    };
    long k = 1;
    for (bool done = false; !done; k++) {
        world w = { .file = files, .files = 2, .fail_at = k };
        rl_status status = open_context(&w, "/rules");
        if (status == RL_OK)
            status = rl_model_read(w.context, "a.gnd", &w.model);
        done = status == RL_OK;
        assert_int_equal(status, done ? RL_OK : RL_MEMORY);
        assert_int_equal(w.heard, 0);
        close_world(&w);
    }
    assert_true(k > 4); /* there were some to fail */
}

static rl_status read_without_memory(void *user, const char *path, char **bytes, size_t *length)
{
    if (strcmp(path, "b.gnd") == 0)
        return RL_MEMORY;
    return read_memory(user, path, bytes, length);
}

static void test_loader_without_memory(void **state)
{
    (void)state;
    memory_file file = { "a.gnd", "include \"b.gnd\"\n" };
    world w = { .file = &file, .files = 1 };
    rl_settings settings = { .take = take_counted, .give = give_counted, .memory_user = &w, .sink = { hear, &w },
                             .loader = { read_without_memory, release_memory, &w } };
    assert_int_equal(rl_context_new(&settings, &w.context), RL_OK);
    assert_int_equal(rl_model_read(w.context, "a.gnd", &w.model), RL_MEMORY);
    assert_null(w.model);
    close_world(&w);
}

static void test_usage(void **state)
{
    (void)state;
    rl_settings settings = { .take = take_counted };
    rl_context *context;
    assert_int_equal(rl_context_new(&settings, &context), RL_USAGE);
    assert_null(context);
    settings.take = NULL;
    rl_model *model;
    assert_int_equal(rl_context_new(&settings, &context), RL_OK);
    assert_int_equal(rl_model_read(context, "a.gnd", &model), RL_USAGE);
    rl_context_free(context);
    assert_string_equal(rl_status_text(RL_MEMORY), "out of memory");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_elements), cmocka_unit_test(test_load_and_wire), cmocka_unit_test(test_ways),
        cmocka_unit_test(test_laws), cmocka_unit_test(test_bins), cmocka_unit_test(test_rows),
        cmocka_unit_test(test_full_rows), cmocka_unit_test(test_once_statements),
        cmocka_unit_test(test_derived_cautions), cmocka_unit_test(test_any_order),
        cmocka_unit_test(test_error_limit), cmocka_unit_test(test_replace_in_place),
        cmocka_unit_test(test_replace_deep), cmocka_unit_test(test_rules_folder),
        cmocka_unit_test(test_include_never_leaves), cmocka_unit_test(test_include_up_again),
        cmocka_unit_test(test_include_faults), cmocka_unit_test(test_include_depth),
        cmocka_unit_test(test_include_number), cmocka_unit_test(test_declared_apart),
        cmocka_unit_test(test_no_consequences), cmocka_unit_test(test_long_chain),
        cmocka_unit_test(test_every_allocation), cmocka_unit_test(test_loader_without_memory),
        cmocka_unit_test(test_usage),
    };
    int failures = cmocka_run_group_tests_name("lower", tests, NULL, NULL);
    return failures > 0;
}

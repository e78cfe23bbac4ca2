/* given.c: answers compared, and read from the lines of want.jsonl.
 *
 * Invariant: a comparison is symmetric in nothing: `want` is right, `got` is
 * looked at; each difference is said once, with the case's name.
 */
#include "given.h"

#include <assert.h>
#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void *take(void *user, size_t size)
{
    (void)user;
    void *piece = malloc(size);
    if (piece == NULL)
        abort();
    return piece;
}

static void give(void *user, void *piece)
{
    (void)user;
    free(piece);
}

given *given_new(const char *name)
{
    given *g = calloc(1, sizeof *g);
    if (g == NULL)
        abort();
    rl_arena_init(&g->arena, &(rl_allocator){take, give, NULL}, 0);
    g->name = rl_arena_copy(&g->arena, name, strlen(name));
    return g;
}

void given_free(given *g)
{
    if (g == NULL)
        return;
    rl_arena_free(&g->arena);
    free(g);
}

/* ---- from JSON ---- */

static const char *copy(given *g, const char *text)
{
    assert(text != NULL);
    return rl_arena_copy(&g->arena, text, strlen(text));
}

static const char *text_of(given *g, const json_t *object, const char *key)
{
    return copy(g, json_string_value(json_object_get(object, key)));
}

static const char *const state_name[RL_STATES] = {"sound", "loose", "corroded", "open", "failed"};

static void read_elements(given *g, const json_t *list)
{
    g->elements = json_array_size(list);
    g->id = rl_many(&g->arena, g->elements + 1, const char *);
    g->p = rl_arena_array(&g->arena, g->elements + 1, sizeof *g->p);
    for (size_t i = 0; i < g->elements; i++) {
        const json_t *element = json_array_get(list, i), *p = json_object_get(element, "p");
        g->id[i] = text_of(g, element, "id");
        for (int s = 0; s < RL_STATES; s++)
            g->p[i][s] = json_number_value(json_object_get(p, state_name[s]));
    }
}

static void read_shares(given *g, const json_t *shares)
{
    static const char *const name[4] = {"return", "feed", "load", "none"};
    for (int i = 0; i < 4; i++)
        g->share[i] = json_number_value(json_object_get(shares, name[i]));
}

static void read_suspects(given *g, const json_t *list)
{
    g->suspects = json_array_size(list);
    g->suspect = rl_many(&g->arena, g->suspects + 1, const char *);
    for (size_t i = 0; i < g->suspects; i++)
        g->suspect[i] = copy(g, json_string_value(json_array_get(list, i)));
}

static void read_tests(given *g, const json_t *list)
{
    g->has_tests = list != NULL;
    g->tests = json_array_size(list);
    g->test = rl_many(&g->arena, g->tests + 1, given_test);
    for (size_t i = 0; i < g->tests; i++) {
        const json_t *test = json_array_get(list, i), *bits = json_object_get(test, "bits");
        g->test[i].text = text_of(g, test, "test");
        g->test[i].minutes = json_number_value(json_object_get(test, "minutes"));
        g->test[i].bits = bits == NULL ? NAN : json_number_value(bits);
    }
}

static rl_state state_named(const char *name)
{
    for (int s = 0; s < RL_STATES; s++)
        if (strcmp(name, state_name[s]) == 0)
            return (rl_state)s;
    abort();
}

static void read_explanations(given *g, const json_t *list)
{
    g->has_explanations = list != NULL;
    g->explanations = json_array_size(list);
    g->explanation = rl_many(&g->arena, g->explanations + 1, given_explanation);
    for (size_t i = 0; i < g->explanations; i++) {
        const json_t *one = json_array_get(list, i), *faults = json_object_get(one, "faults");
        given_explanation *e = &g->explanation[i];
        e->p = json_number_value(json_object_get(one, "p"));
        e->count = json_array_size(faults);
        given_fault *fault = rl_many(&g->arena, e->count + 1, given_fault);
        for (size_t k = 0; k < e->count; k++) {
            const json_t *f = json_array_get(faults, k);
            fault[k].id = text_of(g, f, "id");
            fault[k].state = state_named(json_string_value(json_object_get(f, "state")));
        }
        e->fault = fault;
    }
}

given *given_from_json(const json_t *line)
{
    given *g = given_new(json_string_value(json_object_get(line, "case")));
    const json_t *log_evidence = json_object_get(line, "log_evidence");
    g->contradiction = json_is_null(log_evidence);
    if (g->contradiction)
        return g;
    g->log_evidence = json_number_value(log_evidence);
    read_elements(g, json_object_get(line, "elements"));
    read_shares(g, json_object_get(line, "shares"));
    read_suspects(g, json_object_get(line, "suspects"));
    read_tests(g, json_object_get(line, "next"));
    read_explanations(g, json_object_get(line, "explanations"));
    return g;
}

json_t *given_lines(const char *path)
{
    FILE *file = fopen(path, "rb");
    if (file == NULL)
        return NULL;
    json_t *all = json_array(), *line;
    while ((line = json_loadf(file, JSON_DISABLE_EOF_CHECK, NULL)) != NULL)
        json_array_append_new(all, line);
    fclose(file);
    return all;
}

/* ---- folders ---- */

static int by_name(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

char **given_folders(const char *root)
{
    char **list = calloc(256, sizeof *list);
    size_t n = 0;
    DIR *dir = opendir(root);
    if (list == NULL || dir == NULL)
        abort();
    for (const struct dirent *entry; (entry = readdir(dir)) != NULL && n < 255;) {
        if (strchr(entry->d_name, '-') == NULL)
            continue;
        size_t room = strlen(root) + strlen(entry->d_name) + 2;
        list[n] = malloc(room);
        if (list[n] == NULL)
            abort();
        snprintf(list[n++], room, "%s/%s", root, entry->d_name);
    }
    closedir(dir);
    qsort(list, n, sizeof *list, by_name);
    return list;
}

void given_list_free(char **list)
{
    for (char **at = list; *at != NULL; at++)
        free(*at);
    free(list);
}

/* ---- comparison ---- */

/* Written so that NAN is a difference. */
static bool near(double want, double got, double allowed)
{
    return want == got || fabs(want - got) <= allowed;
}

static int number(const given *g, const char *what, const char *of, double want, double got, double allowed)
{
    if (near(want, got, allowed))
        return 0;
    fprintf(stderr, "%s: %s %s: want %.17g, got %.17g (off by %.3g)\n", g->name, what, of, want, got, got - want);
    return 1;
}

static int beliefs(const given *want, const given *got, tolerance t)
{
    int bad = 0;
    if (want->elements != got->elements) {
        fprintf(stderr, "%s: want %zu elements, got %zu\n", want->name, want->elements, got->elements);
        return 1;
    }
    for (size_t i = 0; i < want->elements; i++) {
        if (strcmp(want->id[i], got->id[i]) != 0) {
            fprintf(stderr, "%s: element %zu: want %s, got %s\n", want->name, i, want->id[i], got->id[i]);
            return bad + 1;
        }
        for (int s = 0; s < RL_STATES; s++)
            bad += number(want, want->id[i], state_name[s], want->p[i][s], got->p[i][s], t.p);
    }
    for (int i = 0; i < 4; i++)
        bad += number(want, "share", (const char *const[]){"return", "feed", "load", "none"}[i],
                      want->share[i], got->share[i], t.share);
    return bad;
}

static bool is_in(size_t count, const char *const *list, const char *text)
{
    for (size_t i = 0; i < count; i++)
        if (strcmp(list[i], text) == 0)
            return true;
    return false;
}

static int suspects(const given *want, const given *got)
{
    int bad = 0;
    for (size_t i = 0; i < want->suspects; i++)
        if (!is_in(got->suspects, got->suspect, want->suspect[i])) {
            fprintf(stderr, "%s: suspect %s is missing\n", want->name, want->suspect[i]);
            bad++;
        }
    for (size_t i = 0; i < got->suspects; i++)
        if (!is_in(want->suspects, want->suspect, got->suspect[i])) {
            fprintf(stderr, "%s: suspect %s is none\n", want->name, got->suspect[i]);
            bad++;
        }
    return bad;
}

const given_test *given_find(const given *g, const char *text)
{
    for (size_t i = 0; i < g->tests; i++)
        if (strcmp(g->test[i].text, text) == 0)
            return &g->test[i];
    return NULL;
}

static int tests(const given *want, const given *got, tolerance t)
{
    int bad = 0;
    for (size_t i = 0; i < want->tests; i++) {
        const given_test *a = &want->test[i], *b = given_find(got, a->text);
        if (b == NULL) {
            fprintf(stderr, "%s: test \"%s\" is missing\n", want->name, a->text);
            bad++;
            continue;
        }
        bad += number(want, "minutes of", a->text, a->minutes, b->minutes, t.minutes);
        if (!isnan(a->bits))
            bad += number(want, "bits of", a->text, a->bits, b->bits, t.bits);
    }
    for (size_t i = 0; i < got->tests; i++)
        if (given_find(want, got->test[i].text) == NULL) {
            fprintf(stderr, "%s: test \"%s\" is not admissible\n", want->name, got->test[i].text);
            bad++;
        }
    return bad;
}

static bool same_faults(const given_explanation *a, const given_explanation *b)
{
    if (a->count != b->count)
        return false;
    for (size_t i = 0; i < a->count; i++) {
        bool found = false;
        for (size_t k = 0; k < b->count; k++)
            found = found || (strcmp(a->fault[i].id, b->fault[k].id) == 0 && a->fault[i].state == b->fault[k].state);
        if (!found)
            return false;
    }
    return true;
}

/* An explanation that `want` does not list may only tie with its last. */
static int explanation(const given *want, const given_explanation *e, tolerance t)
{
    for (size_t i = 0; i < want->explanations; i++)
        if (same_faults(&want->explanation[i], e))
            return number(want, "explanation", "p", want->explanation[i].p, e->p, t.p);
    double last = want->explanations == 0 ? -1 : want->explanation[want->explanations - 1].p;
    if (!want->all_explanations && near(last, e->p, t.p))
        return 0;
    fprintf(stderr, "%s: an explanation of %zu faults (p %.9g) should not be there\n", want->name, e->count, e->p);
    return 1;
}

static int explanations(const given *want, const given *got, tolerance t)
{
    size_t n = want->explanations < got->explanations ? want->explanations : got->explanations;
    int bad = 0;
    if (want->explanations > n && n < (want->all_explanations ? GIVEN_EXPLANATIONS : 5)) {
        fprintf(stderr, "%s: want %zu explanations, got %zu\n", want->name, want->explanations, got->explanations);
        bad++;
    }
    if (got->explanations > want->explanations && (want->all_explanations || want->explanations < 5)) {
        fprintf(stderr, "%s: got %zu explanations, want %zu\n", want->name, got->explanations, want->explanations);
        bad++;
    }
    for (size_t i = 0; i < n; i++) {
        bad += number(want, "explanation", "by rank", want->explanation[i].p, got->explanation[i].p, t.p);
        bad += explanation(want, &got->explanation[i], t);
    }
    return bad;
}

int given_differences(const given *want, const given *got, tolerance allowed)
{
    if (want->contradiction || got->contradiction) {
        if (want->contradiction == got->contradiction)
            return 0;
        fprintf(stderr, "%s: a contradiction for one, none for the other\n", want->name);
        return 1;
    }
    int bad = number(want, "log", "evidence", want->log_evidence, got->log_evidence, allowed.log_evidence);
    bad += beliefs(want, got, allowed);
    bad += suspects(want, got);
    if (want->has_tests && got->has_tests)
        bad += tests(want, got, allowed);
    if (want->has_explanations && got->has_explanations)
        bad += explanations(want, got, allowed);
    return bad;
}

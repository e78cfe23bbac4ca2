/* words_why.c: how the weight of findings is said.
 *
 * Findings that speak the same way (for or against, by the same link to the
 * suspect) are one group under one sentence.
 * Invariant: groups stand by the weight of their heaviest finding, findings in
 * a group by theirs, what is equal as in the case; each finding is named once.
 */
#include "words_why.h"

#include "words.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double no_weight = 0.05;   /* dB: shown as 0.0 */
enum { MOST_NAMES = 8, INDENT = 2 };

/* One finding with its weight. */
typedef struct voice {
    const rl_line *line;
    const rl_tie *tie;
    double db;
    int group;              /* from 0; -1: of no weight */
} voice;

typedef struct teller {
    const screen *sc;
    const rl_model *model;
    const rl_case *c;
    size_t suspect;
    const char *id;         /* of the suspect */
    voice *voice;
    size_t count;
    bool several;           /* the case has several occasions: findings say theirs */
} teller;

static void say(const teller *t, const char *first, const text *safe)
{
    term_wrap(t->sc, first, term_cells(first), text_get(safe));
}

void words_decibans(text *out, double db)
{
    assert(!isnan(db));
    if (isinf(db))
        text_add(out, "%cinf dB", db > 0 ? '+' : '-');
    else
        text_add(out, "%+.1f dB", fabs(db) < no_weight ? 0 : db);
}

static const char *id_of(const teller *t, int element)
{
    assert(element >= 0);
    return rl_model_element(t->model, (size_t)element)->id;
}

/* ---- in which order, and what goes together ---- */

static int by_weight(const void *a, const void *b)
{
    const voice *x = a, *y = b;
    double p = words_coarse(fabs(x->db)), q = words_coarse(fabs(y->db));
    if (p > q || p < q)
        return p > q ? -1 : 1;
    return x->tie->line < y->tie->line ? -1 : x->tie->line > y->tie->line;
}

/* Whether one sentence fits both. */
static bool speak_alike(const voice *x, const voice *y)
{
    const rl_tie *a = x->tie, *b = y->tie;
    if ((x->db > 0) != (y->db > 0) || a->link != b->link || a->others || b->others)
        return false;
    if (a->link == RL_LINK_NONE)
        return true;
    if (a->seen != b->seen || a->loads != b->loads)
        return false;
    return a->link != RL_LINK_BESIDE || a->shared[0] == b->shared[0];
}

static void make_groups(teller *t)
{
    int groups = 0;
    qsort(t->voice, t->count, sizeof *t->voice, by_weight);
    for (size_t i = 0; i < t->count; i++) {
        voice *v = &t->voice[i];
        v->group = -1;
        if (fabs(v->db) < no_weight)
            continue;
        for (size_t j = 0; j < i && v->group < 0; j++)
            if (t->voice[j].group >= 0 && speak_alike(&t->voice[j], v))
                v->group = t->voice[j].group;
        if (v->group < 0)
            v->group = groups++;
    }
}

/* ---- sentences ---- */

/* What a group has in common, and how many it is. */
typedef struct group {
    const voice *head;
    size_t count;
    bool many;
    bool loads;             /* it is about loads; else about a symptom or an element */
} group;

static void put_number(text *out, size_t count)
{
    static const char *const word[] = {
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    };
    if (count < sizeof word / sizeof *word)
        text_add(out, "%s", word[count]);
    else
        text_add(out, "%zu", count);
}

static void put_subject(text *out, const group *g)
{
    if (g->count == 1) {
        text_add(out, "This");
        return;
    }
    text_add(out, "These ");
    put_number(out, g->count);
}

/* " return" or " returns" */
static void put_verb(text *out, const group *g, const char *verb)
{
    text_add(out, " %s%s", verb, g->many ? "" : "s");
}

/* Names of elements: "a, b and 3 more". */
static void put_ids(text *out, const teller *t, const int *element, size_t count, size_t most)
{
    size_t shown = count <= most + 1 ? count : most;   /* "and 1 more" would be longer than its name */
    for (size_t i = 0; i < shown; i++) {
        text_add(out, i == 0 ? "" : i + 1 == count ? " and " : ", ");
        term_safe(out, id_of(t, element[i]));
    }
    if (shown < count)
        text_add(out, " and %zu more", count - shown);
}

/* What follows a link by which the load hangs on the suspect. */
static void put_how(text *out, const group *g)
{
    const char *them = g->many ? "them" : "it", *they = g->many ? "they work" : "it works";
    bool amiss = g->head->tie->seen == RL_SEEN_AMISS, in_favour = g->head->db > 0;
    if (amiss)
        text_add(out, in_favour ? ": a fault there would explain %s" : ", but other causes explain %s better", them);
    else if (in_favour)
        text_add(out, "; that %s tells against the other causes still more", they);
    else
        text_add(out, ", and %s all the same", they);
}

static void link_itself(text *out, const teller *t, const group *g)
{
    bool of_load = rl_model_element(t->model, t->suspect)->sort == RL_WIRE && g->loads;
    put_subject(out, g);
    text_add(out, g->many ? " are about " : " is about ");
    text_add(out, of_load ? "the load of this wire" : "%s itself", t->id);
    if (g->loads)
        put_how(out, g);
    else
        text_add(out, g->head->db > 0 ? ": what was seen fits a fault" : ": what was seen fits a sound one");
}

static void link_mended(text *out, const teller *t, const group *g)
{
    bool right = g->head->tie->seen == RL_SEEN_RIGHT, in_favour = g->head->db > 0;
    put_subject(out, g);
    if (g->head->tie->seen == RL_SEEN_READ)
        text_add(out, g->many ? " were measured" : " was measured");
    else
        put_verb(out, g, right ? "work" : "misbehave");
    text_add(out, " with %s bridged, swapped or repaired", t->id);
    if (g->head->tie->seen == RL_SEEN_READ)
        text_add(out, in_favour ? ", which clears others" : ", which points to others");
    else if (right)
        text_add(out, in_favour ? ": nothing else can be much amiss" : "");
    else
        text_add(out, in_favour ? "" : ": there must be another fault");
}

static void link_within(text *out, const teller *t, const group *g)
{
    bool in_favour = g->head->db > 0;
    put_subject(out, g);
    if (g->head->tie->seen == RL_SEEN_READ)
        text_add(out, g->many ? " were measured across %s: they fit" : " was measured across %s: it fits", t->id);
    else
        text_add(out, g->many ? " have %s among their causes; that" : " has %s among its causes; that", t->id);
    if (g->head->tie->seen == RL_SEEN_READ)
        text_add(out, in_favour ? " a fault there best" : " a sound one better");
    else if (g->head->tie->seen == RL_SEEN_AMISS)
        text_add(out, g->many ? " they are there speaks %s it" : " it is there speaks %s it", in_favour ? "for" : "against");
    else
        text_add(out, g->many ? " they are not there speaks %s it" : " it is not there speaks %s it", in_favour ? "for" : "against");
}

static void link_outside(text *out, const teller *t, const group *g)
{
    put_subject(out, g);
    text_add(out, g->many ? " were" : " was");
    text_add(out, " measured on a path of %s, but beside it: that ", t->id);
    text_add(out, g->head->db > 0 ? "clears what was measured" : "puts the fault where it was measured");
}

static void link_path(text *out, const teller *t, const group *g)
{
    put_subject(out, g);
    if (g->head->tie->link == RL_LINK_RETURN && g->head->tie->loads == 2) {   /* a backfeed or a pull */
        text_add(out, g->many ? " are seen" : " is seen");
        text_add(out, " where two loads share %s", t->id);
        text_add(out, g->head->tie->seen == RL_SEEN_AMISS ? ": one acts on the other" : ": one leaves the other alone");
        return;
    }
    if (g->head->tie->link == RL_LINK_RETURN)
        put_verb(out, g, "return");
    else if (g->head->tie->link == RL_LINK_MAY_RETURN)
        text_add(out, " can return");
    else if (g->head->tie->link == RL_LINK_FEED)
        text_add(out, g->many ? " are fed" : " is fed");
    else
        text_add(out, g->many ? " are switched by relays whose coils depend on %s" : " is switched by a relay whose coil depends on %s",
                 t->id);
    if (g->head->tie->link != RL_LINK_COIL)
        text_add(out, " through %s", t->id);
    put_how(out, g);
}

static void link_beside(text *out, const teller *t, const group *g)
{
    const rl_tie *tie = g->head->tie;
    const char *near = id_of(t, tie->shared[0]);
    bool in_favour = g->head->db > 0;
    put_subject(out, g);
    put_verb(out, g, "share");
    text_add(out, " ");
    put_ids(out, t, tie->shared, tie->shared_count, 3);
    text_add(out, " with %s but not %s itself", t->id, t->id);
    if (tie->seen == RL_SEEN_RIGHT && g->loads)
        text_add(out, g->many ? ", and they work" : ", and it works");
    if (tie->seen != RL_SEEN_AMISS && in_favour)
        text_add(out, ": that speaks against %s, and so for %s", near, t->id);
    else if (!in_favour)
        text_add(out, ": that points to another cause than %s", t->id);
    else
        text_add(out, ": together with the rest that speaks for %s", t->id);
}

static void link_none(text *out, const teller *t, const group *g)
{
    put_subject(out, g);
    put_verb(out, g, "share");
    text_add(out, " nothing with %s: ", t->id);
    text_add(out, g->head->db > 0 ? "other causes become less likely" : "other causes become likelier");
}

/* An `others` line: which of the loads it reaches hang on the suspect. */
static void link_others(text *out, const teller *t, const group *g)
{
    const rl_tie *tie = g->head->tie;
    if (tie->loads == 0) {
        text_add(out, "None of the loads that work by this line depends on %s", t->id);
        text_add(out, g->head->db > 0 ? ": they speak against other causes" : "");
        return;
    }
    text_add(out, "By this line ");
    put_ids(out, t, tie->load, tie->loads, MOST_NAMES);
    text_add(out, tie->loads == 1 ? " works and depends on %s" : " work and depend on %s", t->id);
    text_add(out, g->head->db > 0 ? "; other causes are cleared by that still more" : "");
}

static void put_sentence(text *out, const teller *t, const group *g)
{
    rl_link link = g->head->tie->link;
    if (g->head->tie->others)
        link_others(out, t, g);
    else if (link == RL_LINK_ITSELF)
        link_itself(out, t, g);
    else if (link == RL_LINK_MENDED)
        link_mended(out, t, g);
    else if (link == RL_LINK_WITHIN)
        link_within(out, t, g);
    else if (link == RL_LINK_OUTSIDE)
        link_outside(out, t, g);
    else if (link == RL_LINK_BESIDE)
        link_beside(out, t, g);
    else if (link == RL_LINK_NONE)
        link_none(out, t, g);
    else
        link_path(out, t, g);
    text_add(out, ":");
}

/* ---- the page ---- */

/* The name of a finding's occasion, or nothing where it has none. */
static void put_occasion(text *out, const teller *t, const rl_line *line)
{
    for (size_t i = 0; t->several && i < rl_case_lines(t->c); i++) {
        const rl_line *other = rl_case_line(t->c, i);
        if (other->sort != RL_LINE_OCCASION || other->occasion != line->occasion)
            continue;
        const char *name = other->text + strcspn(other->text, " ");
        text name_alone = { 0 };
        text_add(&name_alone, "%.*s", (int)strcspn(name + (*name == ' '), " "), name + (*name == ' '));
        text_add(out, " (");
        term_safe(out, text_get(&name_alone));
        text_add(out, ")");
        text_free(&name_alone);
        return;
    }
}

static void print_finding(const teller *t, const voice *v)
{
    text first = { 0 }, line = { 0 }, db = { 0 };
    const char *strength = isinf(v->db) ? (v->db > 0 ? "proves it" : "rules out") : words_strength(v->db);
    words_decibans(&db, v->db);
    text_add(&first, "    %9s  %-9s ", text_get(&db), strength != NULL ? strength : "hardly");
    words_line(&line, v->line, false);
    put_occasion(&line, t, v->line);
    say(t, text_get(&first), &line);
    text_free(&first);
    text_free(&line);
    text_free(&db);
}

static void print_group(const teller *t, size_t head)
{
    group g = { .head = &t->voice[head], .loads = t->voice[head].tie->loads > 0 };
    text line = { 0 };
    for (size_t i = head; i < t->count; i++)
        g.count += t->voice[i].group == g.head->group;
    g.many = g.count > 1;
    put_sentence(&line, t, &g);
    say(t, "  ", &line);
    for (size_t i = head; i < t->count; i++)
        if (t->voice[i].group == g.head->group)
            print_finding(t, &t->voice[i]);
    text_free(&line);
}

static void print_side(const teller *t, bool in_favour)
{
    int next = -1;          /* groups are numbered by their heaviest finding */
    bool any = false;
    term_heading(t->sc, in_favour ? "For it" : "Against it");
    for (size_t i = 0; i < t->count; i++) {
        if (t->voice[i].group <= next)
            continue;
        next = t->voice[i].group;
        if ((t->voice[i].db > 0) != in_favour)
            continue;
        print_group(t, i);
        any = true;
    }
    if (!any)
        fputs("  nothing of weight\n", t->sc->out);
}

static void print_rest(const teller *t)
{
    text line = { 0 };
    size_t count = 0;
    for (size_t i = 0; i < t->count; i++) {
        if (t->voice[i].group >= 0)
            continue;
        text_add(&line, count++ > 0 ? "; " : "");
        words_line(&line, t->voice[i].line, false);
        put_occasion(&line, t, t->voice[i].line);
    }
    if (count > 0)
        say(t, "Of no weight here: ", &line);
    text_free(&line);
}

/* Loads of one link, from `at` on; returns the first behind them. */
static size_t print_unseen_by(const teller *t, const rl_ties *ties, size_t at)
{
    static const char *const how[RL_LINKS] = {
        [RL_LINK_RETURN] = "returning through", [RL_LINK_MAY_RETURN] = "able to return through",
        [RL_LINK_FEED] = "fed through", [RL_LINK_COIL] = "switched by a coil that depends on",
    };
    rl_link link = ties->unseen[at].link;
    size_t count = 0;
    int *load = tool_take((ties->unseen_count + 1) * sizeof *load);
    while (at < ties->unseen_count && ties->unseen[at].link == link)
        load[count++] = ties->unseen[at++].load;
    text line = { 0 };
    if (how[link] != NULL)
        text_add(&line, "%s %s: ", how[link], t->id);
    put_ids(&line, t, load, count, MOST_NAMES);
    text_add(&line, at == ties->unseen_count ? ". Look at %s next." : ";", ties->unseen_count == 1 ? "it" : "these");
    say(t, "Not yet looked at, ", &line);
    text_free(&line);
    free(load);
    return at;
}

static void print_unseen(const teller *t, const rl_ties *ties)
{
    for (size_t at = 0; at < ties->unseen_count;)
        at = print_unseen_by(t, ties, at);
}

static void print_odds(const teller *t, const rl_why *why)
{
    text line = { 0 };
    text_add(&line, "At fault before any finding: ");
    words_percent(&line, why->prior);
    if (isfinite(why->prior_db)) {
        text_add(&line, " (");
        words_decibans(&line, why->prior_db);
        text_add(&line, ")");
    }
    text_add(&line, "; now: ");
    words_percent(&line, why->posterior);
    if (isfinite(why->posterior_db)) {
        text_add(&line, " (");
        words_decibans(&line, why->posterior_db);
        text_add(&line, ")");
    }
    text_add(&line, ".");
    if (isinf(why->prior_db))
        text_add(&line, why->prior_db > 0 ? " By the rules it is never sound: no finding can change that."
                                          : " By the rules it is never at fault: no finding can change that.");
    say(t, "", &line);
    text_free(&line);
}

static void print_all(teller *t, const rl_why *why, const rl_ties *ties)
{
    text line = { 0 };
    text_add(&line, "What speaks for and against ");
    words_name(&line, t->model, t->suspect);
    say(t, "", &line);
    text_free(&line);
    print_odds(t, why);
    make_groups(t);
    if (t->count == 0)
        term_wrap(t->sc, "", 0, "The case holds no finding yet.");
    if (t->count > 0 && isfinite(why->prior_db)) {
        print_side(t, true);
        print_side(t, false);
        print_rest(t);
    }
    print_unseen(t, ties);
}

rl_status words_why_page(const screen *sc, const rl_model *model, rl_case *c, size_t element)
{
    const rl_why *why;
    const rl_ties *ties;
    rl_status status = rl_case_why(c, element, &why);
    if (status == RL_OK)
        status = rl_case_ties(c, element, &ties);
    if (status != RL_OK)
        return status;
    assert(why->count == ties->count);
    teller t = { .sc = sc, .model = model, .c = c, .suspect = element, .count = why->count,
                 .id = rl_model_element(model, element)->id };
    t.voice = tool_take((t.count + 1) * sizeof *t.voice);
    for (size_t i = 0; i < t.count; i++) {
        const rl_line *line = rl_case_line(c, why->weight[i].line);
        t.voice[i] = (voice){ .line = line, .tie = &ties->tie[i], .db = why->weight[i].db };
        t.several = t.several || line->occasion != t.voice[0].line->occasion;
    }
    print_all(&t, why, ties);
    free(t.voice);
    return RL_OK;
}

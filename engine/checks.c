/* checks.c: what only the whole of the rules can show, as a table of named checks.
 *
 * Invariant: a check runs once, after all that it requires, and not at all
 * where one of those found a fault: its own finding would be a consequence.
 */
#include "lower.h"

#include <assert.h>

typedef bool check_function(lower *l);  /* false: a fault was said */

/* ---- statements that must stand ---- */

static bool vehicle_stands(lower *l)
{
    if (low_single(l, "vehicle") != NULL || l->unread || l->damaged || l->evidence)
        return true;
    rl_span start = { l->file[0].tree->source, 0, 0, 1, 1 };
    rl_say(l->diag, start, RL_MSG_NO_VEHICLE, NULL, NULL, NULL);
    return false;
}

/* `grades` and `short of` are about the default laws. */
static bool laws_stand(lower *l)
{
    bool given = low_single(l, "joint corroded") != NULL && low_single(l, "joint sound") != NULL;
    const ast_stmt *grades = low_single(l, "grades");
    if (given || l->unread || l->damaged)
        return true;
    bool good = grades == NULL;
    if (grades != NULL)
        rl_say(l->diag, grades->span, RL_MSG_NEEDS_JOINTS, "grades", NULL, NULL);
    for (int i = 0; i < l->model->kinds; i++) {
        if (l->kind[i].shortfall == NULL)
            continue;
        rl_say(l->diag, l->kind[i].shortfall->span, RL_MSG_NEEDS_JOINTS, "short of", NULL, NULL);
        good = false;
    }
    return good;
}

/* ---- cycles ---- */

/* The k-th element that `node` leads to, or -1 past the last. */
typedef int edge_function(const rl_model *m, int node, int k);

static int return_edge(const rl_model *m, int node, int k)
{
    const rl_node *n = &m->node[node];
    return n->info.sort != RL_FEED && k < n->way_count ? n->way[k].parent : -1;
}

static int feed_edge(const rl_model *m, int node, int k)
{
    const rl_node *n = &m->node[node];
    return n->info.sort == RL_FEED && k < n->way_count ? n->way[k].parent : -1;
}

/* Feeds to their feed and to their coil, coils to their feed. */
static int relay_edge(const rl_model *m, int node, int k)
{
    const rl_node *n = &m->node[node];
    if (n->info.sort == RL_LOAD)
        return k == 0 ? n->feed.parent : -1;
    if (n->info.sort != RL_FEED)
        return -1;
    int above = n->way_count > 0 ? n->way[0].parent : n->coil;
    return k == 0 ? above : k == 1 && n->way_count > 0 ? n->coil : -1;
}

/* "a -> b -> a"; a long one is cut in the middle. */
static const char *cycle_text(const lower *l, const int *chain, int count)
{
    rl_text text = { .arena = l->scratch };
    for (int i = 0; i < count; i++) {
        if (count > LOW_CYCLE_SHOWN && i == LOW_CYCLE_SHOWN / 2) {
            rl_put(&text, "… -> ");
            i = count - LOW_CYCLE_SHOWN / 2;
        }
        rl_put(&text, l->model->node[chain[i]].info.id);
        rl_put(&text, " -> ");
    }
    rl_put(&text, l->model->node[chain[0]].info.id);
    return text.bytes;
}

static void say_cycle(lower *l, const int *chain, int count, rl_message id)
{
    rl_say(l->diag, l->model->node[chain[0]].span, id, cycle_text(l, chain, count), NULL, NULL);
}

typedef struct walk {
    int *chain, *next;         /* the elements being visited and the edge to try next */
    signed char *state;        /* 0 new, 1 on the chain, 2 done */
    int depth;
} walk;

static void step_in(walk *w, int node)
{
    w->chain[w->depth] = node;
    w->next[w->depth++] = 0;
    w->state[node] = 1;
}

/* Depth first, with its own stack: chains may be as long as there are elements.
 * Each edge that closes a cycle is said once. */
static bool free_of_cycles(lower *l, edge_function *edge, rl_message id)
{
    const rl_model *m = l->model;
    bool good = true;
    walk w = { rl_many(l->scratch, m->nodes + 1, int), rl_many(l->scratch, m->nodes + 1, int),
               rl_many(l->scratch, m->nodes + 1, signed char), 0 };
    for (int root = 0; root < m->nodes; root++) {
        if (w.state[root] == 0)
            step_in(&w, root);
        while (w.depth > 0) {
            int node = w.chain[w.depth - 1], to = edge(m, node, w.next[w.depth - 1]++);
            if (to < 0) {
                w.state[node] = 2;
                w.depth--;
            } else if (w.state[to] == 0) {
                step_in(&w, to);
            } else if (w.state[to] == 1) {
                int start = w.depth - 1;
                while (w.chain[start] != to)
                    start--;
                say_cycle(l, w.chain + start, w.depth - start, id);
                good = false;
            }
        }
    }
    return good;
}

static bool returns_end(lower *l)
{
    return free_of_cycles(l, return_edge, RL_MSG_RETURN_CYCLE);
}

static bool feeds_end(lower *l)
{
    return free_of_cycles(l, feed_edge, RL_MSG_FEED_CYCLE);
}

static bool relays_end(lower *l)
{
    return free_of_cycles(l, relay_edge, RL_MSG_RELAY_CYCLE);
}

/* ---- warnings ---- */

/* A kind without `failed` whose loads do not say it either never fails. */
static bool loads_can_fail(lower *l)
{
    const rl_model *m = l->model;
    bool *said = rl_many(l->scratch, m->kinds + 1, bool);
    for (int i = 0; i < m->nodes; i++) {
        int kind = m->node[i].info.kind;
        if (kind < 0 || said[kind] || low_clause(l->kind[kind].stmt, AST_C_FAILED) != NULL ||
            low_clause(l->node_stmt[i], AST_C_FAILED) != NULL)
            continue;
        said[kind] = true;
        rl_say(l->diag, m->kind[kind].span, RL_MSG_NEVER_FAILS, m->kind[kind].info.id, m->node[i].info.id, NULL);
    }
    return true;
}

/* `short of` rows that would count need the load's current. */
static bool currents_known(lower *l)
{
    const rl_model *m = l->model;
    for (int i = 0; i < m->nodes; i++) {
        const rl_node *node = &m->node[i];
        if (node->info.kind < 0 || low_clause(l->node_stmt[i], AST_C_DRAWS) != NULL ||
            low_clause(l->kind[node->info.kind].stmt, AST_C_DRAWS) != NULL)
            continue;
        const rl_behaviour *kind = &m->kind[node->info.kind];
        bool counts = kind->row[0][RL_CORRODED] == NULL ||
                      (node->feed.parent >= 0 && kind->row[1][RL_CORRODED] == NULL);
        if (kind->shortfalls > 0 && counts)
            rl_say(l->diag, node->span, RL_MSG_NO_CURRENT, node->info.id, kind->info.id, NULL);
    }
    return true;
}

/* ---- the table ---- */

typedef enum check_number {
    VEHICLE_STANDS, LAWS_STAND, RETURNS_END, FEEDS_END, RELAYS_END, LOADS_CAN_FAIL, CURRENTS_KNOWN, CHECKS
} check_number;

typedef struct check {
    const char *name;
    rl_severity severity;      /* of what it says */
    unsigned requires;         /* 1 << check_number; only earlier ones */
    check_function *run;
} check;

static const check checks[CHECKS] = {
    [VEHICLE_STANDS] = { "vehicle_stands", RL_ERROR, 0, vehicle_stands },
    [LAWS_STAND] = { "laws_stand", RL_ERROR, 0, laws_stand },
    [RETURNS_END] = { "returns_end", RL_ERROR, 0, returns_end },
    [FEEDS_END] = { "feeds_end", RL_ERROR, 0, feeds_end },
    [RELAYS_END] = { "relays_end", RL_ERROR, 1u << FEEDS_END, relays_end },
    [LOADS_CAN_FAIL] = { "loads_can_fail", RL_WARNING, 0, loads_can_fail },
    [CURRENTS_KNOWN] = { "currents_known", RL_WARNING, 1u << VEHICLE_STANDS | 1u << LAWS_STAND, currents_known },
};

void low_check(lower *l)
{
    unsigned good = 0;
    for (unsigned i = 0; i < CHECKS; i++) {
        assert(checks[i].requires >> i == 0);
        size_t errors = l->diag->errors, warnings = l->diag->warnings;
        if ((checks[i].requires & ~good) == 0 && checks[i].run(l))
            good |= 1u << i;
        /* what the table promises of each check */
        assert(checks[i].severity == RL_ERROR ? l->diag->warnings == warnings : l->diag->errors == errors);
        (void)errors;
        (void)warnings;
    }
}

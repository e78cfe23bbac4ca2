/* evidence_text.c: the canonical text of a line, and the key of what it observes.
 *
 * Invariant: equal observations have equal keys: the key names the ends that
 * are not the default ones, the conditions and the `also` loads, both in the order
 * of declaration, and neither outcome nor `at` nor `sure`.  The text keeps
 * numbers, conditions and loads as they were written.
 */
#include "evidence.h"

#include <assert.h>
#include <string.h>

/* Text and key grow side by side. */
typedef struct pen {
    ev_line *l;
    rl_text text, key;
} pen;

static void put(rl_text *text, const char *word)
{
    if (text->length > 0)
        rl_put(text, " ");
    rl_put(text, word);
}

static void both(pen *p, const char *word)
{
    put(&p->text, word);
    put(&p->key, word);
}

static const char *id(const pen *p, int element)
{
    return p->l->model->node[element].info.id;
}

static void put_string(rl_text *text, const char *string)
{
    put(text, "\"");
    for (; *string != '\0'; string++) {
        if (*string == '"' || *string == '\\')
            rl_put_bytes(text, "\\", 1);
        rl_put_bytes(text, string, 1);
    }
    rl_put(text, "\"");
}

static void put_clause_number(pen *p, ast_clause_sort sort, const char *word)
{
    const ast_clause *clause = ev_clause(p->l->stmt, sort);
    if (clause == NULL)
        return;
    put(&p->text, word);
    put(&p->text, clause->number->text);
}

/* ---- conditions ---- */

static const char *condition_words(ast_condition_sort sort)
{
    switch (sort) {
    case AST_BYPASS: return "bypass";
    case AST_BYPASS_AT: return "bypass at";
    case AST_REPAIRED: return "repaired";
    case AST_SWAP: return "swap";
    case AST_JUMPER: return "jumper";
    }
    return "";
}

static void put_condition(rl_text *text, const ast_condition *condition, bool first)
{
    put(text, first ? "with" : "and");
    put(text, condition_words(condition->sort));
    if (condition->element != NULL)
        put(text, condition->element->text);
}

static int condition_rank(const pen *p, const ast_condition *condition)
{
    int element = condition->element == NULL ? 0 : rl_find_element(p->l->model, condition->element->text);
    assert(element >= 0 && element < p->l->model->nodes);
    return (int)condition->sort * p->l->model->nodes + element;
}

/* The condition that follows rank `after` in the order of the key, or NULL. */
static const ast_condition *next_condition(const pen *p, const ast_clause *with, int after)
{
    const ast_condition *best = NULL;
    for (const ast_condition *c = with->conditions; c != NULL; c = c->next) {
        int rank = condition_rank(p, c);
        if (rank > after && (best == NULL || rank < condition_rank(p, best)))
            best = c;
    }
    return best;
}

static void put_conditions(pen *p)
{
    const ast_clause *with = ev_clause(p->l->stmt, AST_C_WITH);
    if (with == NULL)
        return;
    for (const ast_condition *c = with->conditions; c != NULL; c = c->next)
        put_condition(&p->text, c, c == with->conditions);
    const ast_condition *first = next_condition(p, with, -1);
    for (const ast_condition *c = first; c != NULL; c = next_condition(p, with, condition_rank(p, c)))
        put_condition(&p->key, c, c == first);
}

/* ---- the sorts of line ---- */

static void put_outcomes(pen *p)
{
    const ast_stmt *stmt = p->l->stmt;
    if (stmt->negated)
        put(&p->text, "not");
    for (const ast_word *word = stmt->outcomes; word != NULL; word = word->next) {
        if (word != stmt->outcomes)
            put(&p->text, "or");
        put(&p->text, word->text);
    }
}

static void write_occasion(pen *p)
{
    const ast_stmt *stmt = p->l->stmt;
    both(p, "occasion");
    both(p, stmt->name->text);
    if (stmt->label != NULL)
        put_string(&p->text, stmt->label);
    put_clause_number(p, AST_C_SAID, "said");
    put_clause_number(p, AST_C_BATTERY, "battery");
    put_conditions(p);
}

static void write_seen(pen *p)
{
    both(p, p->l->stmt->name->text);
    if (p->l->stmt->name2 != NULL)
        both(p, p->l->stmt->name2->text);
    put_outcomes(p);
    put_clause_number(p, AST_C_SURE, "sure");
    put_conditions(p);
}

static void write_crosstalk(pen *p)
{
    both(p, p->l->stmt->sort == AST_PULL ? "pull" : "backfeed");
    both(p, id(p, p->l->finding->subject));
    both(p, "to");
    both(p, id(p, p->l->finding->other));
    put_outcomes(p);
    put_clause_number(p, AST_C_SURE, "sure");
}

static void write_others(pen *p)
{
    both(p, "others");
    if (p->l->finding->subject >= 0) {
        both(p, "of");
        both(p, id(p, p->l->finding->subject));
    }
    both(p, "work");
}

/* The smallest of the `also` loads above `after`, or -1. */
static int next_also(const rl_finding *f, int after)
{
    int best = -1;
    for (int i = 0; i < f->also_count; i++)
        if (f->also[i] > after && (best < 0 || f->also[i] < best))
            best = f->also[i];
    return best;
}

static void put_also(pen *p)
{
    const rl_finding *f = p->l->finding;
    for (int i = 0; i < f->also_count; i++) {
        if (i == 0)
            put(&p->text, "also");
        else
            rl_put(&p->text, ",");
        put(&p->text, id(p, f->also[i]));
    }
    int first = next_also(f, -1);
    for (int load = first; load >= 0; load = next_also(f, load)) {
        if (load == first)
            put(&p->key, "also");
        else
            rl_put(&p->key, ",");
        put(&p->key, id(p, load));
    }
}

static void write_reading(pen *p, const char *word)
{
    const rl_finding *f = p->l->finding;
    both(p, word);
    both(p, id(p, f->subject));
    if (f->from >= 0) {
        both(p, "from");
        both(p, id(p, f->from));
    }
    if (f->to >= 0) {
        both(p, "to");
        both(p, id(p, f->to));
    }
    if (p->l->stmt->number != NULL)
        put(&p->text, p->l->stmt->number->text);
    else
        put(&p->text, p->l->stmt->outcomes->text);
    put_clause_number(p, AST_C_AT, "at");
    put_also(p);
}

static void write_found(pen *p)
{
    const rl_finding *f = p->l->finding;
    both(p, "found");
    if (f->only)
        put(&p->text, "only");
    both(p, f->subject < 0 ? "nothing" : id(p, f->subject));
    if (f->subject >= 0)
        put(&p->text, rl_state_text(f->state));
}

static void write_expect(pen *p)
{
    both(p, "expect");
    both(p, id(p, p->l->finding->subject));
    if (p->l->finding->expect == 0)
        both(p, "leads");
    else {
        const ast_clause *bound = ev_clause(p->l->stmt, p->l->finding->expect > 0 ? AST_C_ABOVE : AST_C_BELOW);
        both(p, p->l->finding->expect > 0 ? "above" : "below");
        both(p, bound->number->text);
    }
}

void ev_write(ev_line *l)
{
    pen p = { .l = l, .text = { .arena = l->arena }, .key = { .arena = l->arena } };
    switch (l->finding->sort) {
    case RL_E_BEHAVIOUR: case RL_E_SYMPTOM: case RL_E_INSPECTION: write_seen(&p); break;
    case RL_E_BACKFEED: case RL_E_PULL: write_crosstalk(&p); break;
    case RL_E_DROP: write_reading(&p, "drop"); break;
    case RL_E_RESISTANCE: write_reading(&p, "resistance"); break;
    case RL_E_CONTINUITY: write_reading(&p, "continuity"); break;
    case RL_E_SUPPLY: write_reading(&p, "supply"); break;
    case RL_E_OTHERS: write_others(&p); break;
    case RL_E_OPENED: both(&p, "opened"); both(&p, l->stmt->name->text); break;
    case RL_E_FOUND: write_found(&p); break;
    case RL_E_EXPECT: write_expect(&p); break;
    case RL_E_OCCASION: write_occasion(&p); break;
    }
    assert(p.key.length > 0);
    l->finding->line.text = p.text.bytes;
    l->finding->key = p.key.bytes;
}

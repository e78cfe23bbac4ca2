/* lower_names.c: declarations: which of several of one name stands, and lookups by name.
 *
 * Invariant: after low_declare every key is in the order of its first
 * declaration, and its standing statement is the one whose file includes the
 * files of all others.  A name of a damaged statement counts as declared.
 */
#include "lower.h"

#include <assert.h>
#include <string.h>

static bool is_thing(ast_sort sort)
{
    return (sort >= AST_POINT && sort <= AST_LOAD) || sort == AST_SYMPTOM || sort == AST_INSPECTION ||
           sort == AST_REMOVE;
}

/* "joint sound", "meter volts", …: statements of which one may stand. */
static const char *single_text(lower *l, const ast_stmt *stmt)
{
    rl_text text = { .arena = l->scratch };
    switch (stmt->sort) {
    case AST_VEHICLE: return "vehicle";
    case AST_BACKFEED_RULE: return "backfeed";
    case AST_PULL_RULE: return "pull";
    case AST_GRADES: return "grades";
    case AST_BYPASS_RULE: return "bypass";
    case AST_JUMPER_RULE: return "jumper";
    case AST_SWAP_RULE: return "swap";
    case AST_JOINT:
        rl_put(&text, "joint ");
        rl_put(&text, low_state_word(stmt->clauses->state));
        return text.bytes;
    case AST_METER:
        rl_put(&text, "meter ");
        rl_put(&text, stmt->name->text);
        return text.bytes;
    default:
        return NULL;
    }
}

/* What the statement declares; false if nothing. */
static bool declares(lower *l, const ast_stmt *stmt, low_space *space, const char **text)
{
    *space = is_thing(stmt->sort)        ? LOW_THINGS
             : stmt->sort == AST_CLASS   ? LOW_CLASSES
             : stmt->sort == AST_KIND    ? LOW_KINDS
             : stmt->sort == AST_AREA    ? LOW_AREAS
                                         : LOW_SINGLES;
    *text = *space == LOW_SINGLES ? single_text(l, stmt) : stmt->name->text;
    return *text != NULL;
}

static int key_for(lower *l, low_space space, const char *text)
{
    int found = rl_names_get(l->names, (int)space, text);
    if (found >= 0)
        return found;
    if (l->keys == l->key_room) {
        int room = l->key_room == 0 ? 256 : 2 * l->key_room;
        low_key *key = rl_many(l->scratch, room, low_key);
        if (l->keys > 0)
            memcpy(key, l->key, (size_t)l->keys * sizeof *key);
        l->key = key;
        l->key_room = room;
    }
    l->key[l->keys] = (low_key){ .space = space, .text = text, .index = -1 };
    rl_names_put(l->names, (int)space, text, l->keys);
    return l->keys++;
}

static rl_span place(const ast_stmt *stmt)
{
    return stmt->name != NULL ? stmt->name->span : stmt->span;
}

/* What is wrong with two declarations of one name in one file. */
static rl_message twice_in_file(const ast_stmt *earlier, const ast_stmt *later, low_space space)
{
    if (later->sort == AST_REMOVE || earlier->sort == AST_REMOVE)
        return later->sort == earlier->sort ? RL_MSG_REMOVED_TWICE : RL_MSG_REMOVED_HERE;
    return space == LOW_SINGLES ? RL_MSG_STANDS_TWICE : RL_MSG_DECLARED_TWICE;
}

/* Whether the item may stand beside an earlier one of its name; says why not. */
static bool may_follow(lower *l, const low_stmt *earlier, const low_stmt *item, const low_key *key)
{
    bool removes = item->stmt->sort == AST_REMOVE && earlier->stmt->sort == AST_REMOVE;
    if (earlier->file == item->file)
        rl_say_also(l->diag, place(item->stmt), twice_in_file(earlier->stmt, item->stmt, key->space), key->text,
                    NULL, NULL, place(earlier->stmt));
    else if (!removes && !low_includes(l, earlier->file, item->file) &&
             !low_includes(l, item->file, earlier->file))
        rl_say_also(l->diag, place(item->stmt), RL_MSG_DECLARED_APART, key->text,
                    l->file[earlier->file].path, NULL, place(earlier->stmt));
    else
        return true;
    return false;
}

static void add_decl(lower *l, int number)
{
    low_stmt *item = &l->item[number];
    low_space space;
    const char *text;
    if (!declares(l, item->stmt, &space, &text))
        return;
    int index = key_for(l, space, text);
    low_key *key = &l->key[index];
    for (const low_decl *d = key->first; d != NULL; d = d->next)
        if (!may_follow(l, &l->item[d->item], item, key)) {
            key->faulty = true;
            return;
        }
    low_decl *decl = rl_new(l->scratch, low_decl);
    decl->item = number;
    if (key->last == NULL)
        key->first = decl;
    else
        key->last->next = decl;
    key->last = decl;
    item->key = index;
}

/* Says so where a `remove` finds nothing below it to remove. */
static void check_remove(lower *l, const low_key *key, const low_stmt *remover)
{
    for (const low_decl *d = key->first; d != NULL; d = d->next)
        if (l->item[d->item].stmt->sort != AST_REMOVE && low_includes(l, remover->file, l->item[d->item].file))
            return;
    if (!key->faulty && !low_excused(l, key->text))
        rl_say(l->diag, remover->stmt->name->span, RL_MSG_NOT_BELOW, key->text, NULL, NULL);
}

static void settle(lower *l, low_key *key)
{
    if (key->first == NULL)
        return;
    const low_stmt *best = &l->item[key->first->item];
    for (const low_decl *d = key->first; d != NULL; d = d->next) {
        const low_stmt *item = &l->item[d->item];
        if (item->stmt->sort == AST_REMOVE)
            check_remove(l, key, item);
        if (low_includes(l, item->file, best->file))
            best = item;
    }
    if (best->stmt->sort == AST_REMOVE)
        key->removed = best->stmt;
    else
        key->standing = best->stmt;
}

/* The word that a line which reads as a finding was likely meant to begin with, or NULL. */
static const char *meant_statement(const ast_stmt *stmt)
{
    static const char *const word[] = {"area", "backfeed", "bypass", "class", "connector", "feed", "grades",
                                       "include", "inspection", "joint", "jumper", "kind", "load", "meter",
                                       "point", "pull", "remove", "splice", "swap", "symptom", "vehicle"};
    return stmt->sort == AST_SEEN ? rl_nearest(stmt->name->text, word, sizeof word / sizeof *word) : NULL;
}

/* Evidence in a rule file: said once for each file; a misspelt statement, each time. */
static void check_sort(lower *l, const low_stmt *item, bool *said)
{
    const char *meant = meant_statement(item->stmt);
    if (meant != NULL) {
        rl_text quoted = { .arena = l->scratch };
        rl_put(&quoted, "`");
        rl_put(&quoted, item->stmt->name->text);
        rl_put(&quoted, "`");
        rl_say(l->diag, item->stmt->name->span, RL_MSG_STATEMENT_NEAR, quoted.bytes, meant, NULL);
    }
    if (item->stmt->sort < AST_CASE || *said || meant != NULL)
        return;
    *said = l->evidence = true;
    rl_say(l->diag, item->stmt->span, RL_MSG_EVIDENCE_IN_RULES, NULL, NULL, NULL);
}

void low_declare(lower *l)
{
    l->names = rl_names_new(l->scratch);
    l->half = rl_names_new(l->scratch);
    l->said = rl_names_new(l->scratch);
    l->missed_names = rl_names_new(l->scratch);
    bool *evidence = rl_many(l->scratch, l->files, bool);
    for (int i = 0; i < l->files; i++)
        for (const ast_word *w = l->file[i].tree->half_named; w != NULL; w = w->next)
            if (rl_names_get(l->half, 0, w->text) < 0)
                rl_names_put(l->half, 0, w->text, 0);
    for (int i = 0; i < l->items; i++) {   /* what a misspelt statement was to declare */
        const ast_stmt *stmt = l->item[i].stmt;
        if (meant_statement(stmt) != NULL && stmt->outcomes != NULL &&
            rl_names_get(l->half, 0, stmt->outcomes->text) < 0)
            rl_names_put(l->half, 0, stmt->outcomes->text, 0);
    }
    for (int i = 0; i < l->items; i++) {
        check_sort(l, &l->item[i], &evidence[l->item[i].file]);
        add_decl(l, i);
    }
    for (int i = 0; i < l->keys; i++) {
        settle(l, &l->key[i]);
        if (l->key[i].standing != NULL)
            low_check_clauses(l, l->key[i].standing);
    }
}

bool low_excused(const lower *l, const char *text)
{
    return l->unread || rl_names_get(l->half, 0, text) >= 0;
}

int low_key_of(const lower *l, low_space space, const char *text)
{
    return rl_names_get(l->names, (int)space, text);
}

const ast_stmt *low_single(const lower *l, const char *text)
{
    int key = low_key_of(l, LOW_SINGLES, text);
    return key < 0 ? NULL : l->key[key].standing;
}

/* The element sorts that a statement declares, as a set; 0 for symptoms and inspections. */
static unsigned sort_bit(ast_sort sort)
{
    switch (sort) {
    case AST_POINT: return 1u << RL_POINT;
    case AST_SPLICE: return 1u << RL_SPLICE;
    case AST_CONNECTOR: return 1u << RL_CONNECTOR;
    case AST_FEED: return 1u << RL_FEED;
    case AST_LOAD: return 1u << RL_LOAD;
    default: return 0;
    }
}

/* The nearest standing name of a space, things being of one of `sorts`. */
static const char *nearest(const lower *l, low_space space, unsigned sorts, const char *text)
{
    if (rl_diag_full(l->diag))
        return NULL;
    rl_mark mark = rl_arena_mark(l->scratch);
    const char **name = rl_many(l->scratch, l->keys + 1, const char *);
    size_t count = 0;
    for (int i = 0; i < l->keys; i++) {
        const low_key *key = &l->key[i];
        if (key->space == space && key->standing != NULL &&
            (space != LOW_THINGS || (sort_bit(key->standing->sort) & sorts)))
            name[count++] = key->text;
    }
    const char *near = rl_nearest(text, name, count);
    rl_arena_rewind(l->scratch, mark);
    return near;
}

/* ---- names that nothing declares ---- */

/* Whether (space, text) was missed before: then this is one use more.  Or so many
 * are missed that no more will be said. */
static bool missed_before(lower *l, low_space space, const char *text, rl_span at)
{
    int index = rl_names_get(l->missed_names, (int)space, text);
    if (index < 0)
        return (size_t)l->misses > l->diag->error_limit;
    low_missed *m = &l->missed[index];
    if (m->uses < LOW_USES_SHOWN)
        m->use[m->uses] = at;
    m->uses++;
    return true;
}

/* Notes the first use, `word`, of (space, name), where `what` is meant. */
static low_missed *add_missed(lower *l, low_space space, const char *name, const ast_word *word, const char *what)
{
    if (l->misses == l->miss_room) {
        int room = l->miss_room == 0 ? 16 : 2 * l->miss_room;
        low_missed *more = rl_many(l->scratch, room, low_missed);
        if (l->misses > 0)
            memcpy(more, l->missed, (size_t)l->misses * sizeof *more);
        l->missed = more;
        l->miss_room = room;
    }
    rl_names_put(l->missed_names, (int)space, name, l->misses);
    l->missed[l->misses] = (low_missed){ .what = what, .text = word->text, .name = name, .use = { word->span }, .uses = 1 };
    return &l->missed[l->misses++];
}

static void say_one_missed(lower *l, const low_missed *m)
{
    if (m->removed != NULL)
        rl_say_also(l->diag, m->use[0], RL_MSG_REMOVED, m->name, NULL, NULL, m->removed->name->span);
    else
        rl_say(l->diag, m->use[0], m->near == NULL ? RL_MSG_UNKNOWN : RL_MSG_UNKNOWN_NEAR, m->what, m->text, m->near);
}

/* ", and in line 12, line 4 of b.gnd and 3 more places": what comes after the second use. */
static const char *further_uses(lower *l, const low_missed *m)
{
    rl_text text = { .arena = l->scratch };
    size_t shown = m->uses < LOW_USES_SHOWN ? m->uses : LOW_USES_SHOWN;
    rl_put(&text, "");
    for (size_t i = 2; i < shown; i++) {
        rl_put(&text, i == 2 ? ", and in line " : i + 1 == m->uses ? " and line " : ", line ");
        rl_put_count(&text, m->use[i].line);
        if (m->use[i].source == m->use[1].source)
            continue;
        rl_put(&text, " of ");
        rl_put(&text, l->diag->sources[m->use[i].source].path);
    }
    if (m->uses > shown) {
        rl_put(&text, " and ");
        rl_put_count(&text, m->uses - shown);
        rl_put(&text, m->uses == shown + 1 ? " more place" : " more places");
    }
    return text.bytes;
}

void low_say_missed(lower *l)
{
    for (int i = 0; i < l->misses && !rl_diag_full(l->diag); i++) {
        const low_missed *m = &l->missed[i];
        say_one_missed(l, m);
        if (m->uses > 1 && !rl_diag_full(l->diag))
            rl_say(l->diag, m->use[1], RL_MSG_MISSED_AGAIN, m->name, further_uses(l, m), NULL);
    }
}

int low_named(lower *l, low_space space, const ast_word *word)
{
    int key = low_key_of(l, space, word->text);
    if (key >= 0 && l->key[key].standing != NULL)
        return l->key[key].index;
    const char *what = space == LOW_CLASSES ? "class" : space == LOW_KINDS ? "kind" : "area";
    if (!low_excused(l, word->text) && !missed_before(l, space, word->text, word->span))
        add_missed(l, space, word->text, word, what)->near = nearest(l, space, 0, word->text);
    return -1;
}

/* The name before ".wire", or NULL if `text` is no wire's name. */
static const char *wire_owner(lower *l, const char *text)
{
    size_t n = strlen(text);
    if (n <= 5 || strcmp(text + n - 5, ".wire") != 0)
        return NULL;
    return rl_arena_copy(l->scratch, text, n - 5);
}

/* `wanted` without its article. */
static const char *bare(const char *wanted)
{
    const char *space = strchr(wanted, ' ');
    assert(space != NULL);
    return space + 1;
}

/* Notes that there is no element `text`, the owner of the wire that the word names or the word itself. */
static void miss_element(lower *l, const ast_word *word, const char *text, unsigned sorts, const char *wanted)
{
    bool wire = text != word->text;
    if (missed_before(l, LOW_THINGS, text, word->span))
        return;
    const char *near = nearest(l, LOW_THINGS, wire ? 1u << RL_LOAD : sorts, text);
    if (near != NULL && wire) {
        rl_text whole = { .arena = l->scratch };
        rl_put(&whole, near);
        rl_put(&whole, ".wire");
        near = whole.bytes;
    }
    add_missed(l, LOW_THINGS, text, word, bare(wanted))->near = near;
}

/* Notes that an element is missing; a reason that was said already is enough. */
static void miss_key(lower *l, const ast_word *word, const char *text, const low_key *key, unsigned sorts,
                     const char *wanted)
{
    if (key != NULL && key->faulty)
        return;
    if (key == NULL || key->removed == NULL) {
        if (!low_excused(l, text))
            miss_element(l, word, text, sorts, wanted);
    } else if (!missed_before(l, LOW_THINGS, text, word->span)) {
        add_missed(l, LOW_THINGS, text, word, bare(wanted))->removed = key->removed;
    }
}

int low_element(lower *l, const ast_word *word, unsigned sorts, const char *wanted)
{
    const char *owner = wire_owner(l, word->text);
    const char *text = owner != NULL ? owner : word->text;
    int number = low_key_of(l, LOW_THINGS, text);
    const low_key *key = number < 0 ? NULL : &l->key[number];
    if (key == NULL || key->standing == NULL) {
        miss_key(l, word, text, key, sorts, wanted);
        return -1;
    }
    unsigned bit = sort_bit(key->standing->sort);
    if (owner != NULL && bit == 1u << RL_LOAD && (sorts & 1u << RL_WIRE))
        return key->index + 1;
    if (owner != NULL && bit == 1u << RL_LOAD)
        rl_say(l->diag, word->span, RL_MSG_WRONG_SORT, word->text, "a wire", wanted);
    else if (owner != NULL)
        miss_element(l, word, text, sorts, wanted);
    else if (bit & sorts)
        return key->index;
    else
        rl_say_also(l->diag, word->span, RL_MSG_WRONG_SORT, text, low_sort_words(key->standing->sort), wanted,
                    key->standing->name->span);
    return -1;
}

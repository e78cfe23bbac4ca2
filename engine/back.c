/* back.c: the way back down: bars, and what can be read off them.
 *
 * The joins of a bucket are run back, the last first: a part's bar is the sum of all that it was
 * multiplied by, so that part times bar is the part's belief.  A distribute runs back what
 * leads to the buckets below; the rest of a bucket, which ends in the bar of its own part, waits until its
 * variable's marginal is asked for.
 * Invariant: the bars of a bucket's joins from `pending` on are made, and tell of its message as it is now;
 * that of its own part is made once it is `settled`.
 */
#include "infer_private.h"

#include <assert.h>

/* The bar of one side of a join from that of its result. */
static void side_back(const rl_tree *tree, const rl_join *join, double *bar, const double *out_bar, bool left)
{
    static const double ONE = 1;
    int other = left ? join->right : join->left;
    rl_multiply_back(bar, out_bar, other < 0 ? &ONE : tree->value[other], join->axis, join->rank, left);
}

/* Runs a join of bucket k back, but for the bucket's own part unless that cannot wait.  Large products have no bar
 * of their own: each is made from the one before it and passed on. */
static const double *join_back(const rl_tree *tree, int k, const rl_join *join, const double *passed)
{
    const double *out_bar = tree->bar[join->out] ? tree->bar[join->out] : passed;
    double *left_bar = join->left == k && tree->bar[join->out] ? NULL : tree->bar[join->left];
    if (join->left != k && !left_bar && tree->plan->part[join->left].factor < 0)
        passed = left_bar = out_bar == tree->room[0] ? tree->room[1] : tree->room[0];
    if (left_bar)
        side_back(tree, join, left_bar, out_bar, true);
    if (join->right >= 0 && tree->bar[join->right] && tree->bar[join->right] != out_bar)
        side_back(tree, join, tree->bar[join->right], out_bar, false);
    return passed;
}

/* Runs a bucket's joins back down to this one, as far as that was not done yet. */
static void run_back(const rl_tree *tree, int k, int down_to)
{
    rl_bucket *bucket = &tree->bucket[k];
    const double *passed = NULL;
    while (bucket->pending > down_to)
        passed = join_back(tree, k, &tree->plan->join[--bucket->pending], passed);
}

/* What a bucket's value comes to but for one child, which speaks of that variable alone. */
static double value_but_for(const rl_tree *tree, int k, int child, size_t i)
{
    const rl_plan *plan = tree->plan;
    const rl_bucket *bucket = &tree->bucket[k];
    double product = bucket->terms[i] * tree->bar[k][i] * (bucket->weighted ? bucket->weight[i] : 1);
    for (int c = plan->child[k]; c >= 0; c = plan->sibling[c])
        if (c != child && rl_speaks_of_one(plan, c))
            product *= tree->value[rl_message_part(plan, c)][i];
    return product;
}

/* The marginal from the own part and its bar. */
static const double *settle(const rl_tree *tree, int k)
{
    rl_bucket *bucket = &tree->bucket[k];
    const rl_join *own = &tree->plan->join[tree->plan->own_join[k]];
    if (bucket->settled)
        return bucket->marginal;
    bucket->settled = true;
    run_back(tree, k, tree->plan->own_join[k]);
    if (tree->bar[own->out])
        side_back(tree, own, tree->bar[k], tree->bar[own->out], true);
    for (int i = 0; i < tree->plan->size[k]; i++)
        bucket->marginal[i] = tree->value[k][i] * tree->bar[k][i];
    return bucket->marginal;
}

/* The bar of a child that speaks of its parent's variable alone. */
static void settle_child(const rl_tree *tree, int k, int child)
{
    int part = rl_message_part(tree->plan, child);
    const double *message = tree->value[part], *marginal = settle(tree, k);
    for (size_t i = 0; i < (size_t)tree->plan->size[k]; i++)
        tree->bar[part][i] = message[i] > 0 ? marginal[i] / message[i] : value_but_for(tree, k, child, i);
}

/* The bars of a bucket's children; its own waits until somebody asks. */
static void settle_children(const rl_tree *tree, int k)
{
    const rl_plan *plan = tree->plan;
    tree->bucket[k].pending = plan->first_join[k + 1];
    tree->bucket[k].settled = false;
    run_back(tree, k, plan->needed_join[k]);
    for (int c = plan->child[k]; c >= 0; c = plan->sibling[c])
        if (rl_speaks_of_one(plan, c))
            settle_child(tree, k, c);
}

/* Lifts may grow so far before the bars take them; a message's cells that count pass 1e-290, so
 * that a bar does not pass the range of a double for that. */
static const double MOST_LIFT = 1e12;

/* Turns to the message before it was scaled; whether message and bar tell of a belief
 * that sums to 1, as it must unless something passed the range of a double. */
static bool unscale(const rl_tree *tree, int k)
{
    const rl_plan *plan = tree->plan;
    rl_bucket *bucket = &tree->bucket[k];
    int part = rl_message_part(plan, k);
    size_t cells = plan->part[part].cells;
    double lift = plan->parent[k] < 0 ? 1 : tree->bucket[plan->parent[k]].lift;
    double sum = lift * rl_dot(tree->value[part], tree->bar[part], cells);
    bucket->lift = lift / bucket->scale;
    if (bucket->lift > MOST_LIFT || bucket->lift < 1 / MOST_LIFT) {
        rl_scale(tree->bar[part], cells, bucket->lift);
        bucket->lift = 1;
    }
    return sum > 0.999999 && sum < 1.000001;
}

static bool distribute(rl_tree *tree)
{
    const rl_plan *plan = tree->plan;
    for (int k = tree->buckets - 1; k >= 0; k--) {
        if (plan->parent[k] < 0)
            tree->bar[rl_message_part(plan, k)][0] = 1;
        if (!unscale(tree, k))
            return false;
        settle_children(tree, k);
    }
    return true;
}

void rl_tree_distribute(rl_tree *tree)
{
    if (!tree->logs && distribute(tree))
        return;
    if (!tree->logs)
        (void)rl_collect_logs(tree);
    rl_distribute_logs(tree);
}

void rl_tree_marginal(const rl_tree *tree, int variable, double *out)
{
    assert(variable >= 0 && variable < tree->buckets);
    int k = tree->plan->place[variable];
    const double *marginal = tree->logs ? tree->bucket[k].marginal : settle(tree, k);
    double sum = 0;
    for (int i = 0; i < tree->plan->size[k]; i++)
        sum += marginal[i];
    for (int i = 0; i < tree->plan->size[k]; i++)
        out[i] = marginal[i] / sum;
}

/* ---- joints of a factor ---- */

/* Whether a part is a factor of just these variables. */
static bool is_factor_of(const rl_plan *plan, int part, int count, const int *variable)
{
    const rl_part *p = part < 0 ? NULL : &plan->part[part];
    if (!p || p->factor < 0 || p->count != count)
        return false;
    for (int i = 0; i < count; i++)
        for (int j = 0; p->place[j] != plan->place[variable[i]];)
            if (++j == count)
                return false;
    return true;
}

/* The join of a bucket that takes such a factor; NULL: none. */
static const rl_join *join_of_factor(const rl_plan *plan, int k, int count, const int *variable)
{
    for (int j = plan->first_join[k]; j < plan->first_join[k + 1]; j++)
        if (is_factor_of(plan, plan->join[j].left, count, variable) ||
            is_factor_of(plan, plan->join[j].right, count, variable))
            return &plan->join[j];
    return NULL;
}

/* The belief of a part, value times bar, as shares and in the order of these variables. */
static void put_in_order(const rl_plan *plan, const rl_part *part, const double *value, const double *bar,
                         const int *variable, double *out)
{
    size_t step[RL_MOST_AXES], digit[RL_MOST_AXES], all = 1;
    double by = 1 / rl_dot(value, bar, part->cells);
    for (int i = part->count; i-- > 0; all *= (size_t)plan->size[plan->place[variable[i]]])
        for (int j = 0; j < part->count; j++)
            if (part->place[j] == plan->place[variable[i]]) {
                step[j] = all;
                digit[j] = 0;
            }
    const int last = part->count - 1;
    const size_t row = (size_t)plan->size[part->place[last]], row_step = step[last];
    for (size_t c = 0; c < part->cells; c += row) {
        for (size_t j = 0; j < row; j++)
            out[j * row_step] = value[c + j] * bar[c + j] * by;
        for (int i = last; i-- > 0;) {
            out += step[i];
            if (++digit[i] < (size_t)plan->size[part->place[i]])
                break;
            out -= digit[i] * step[i];
            digit[i] = 0;
        }
    }
}

bool rl_factor_joint(const rl_tree *tree, rl_arena *arena, int count, const int *variable, double *out)
{
    const rl_plan *plan = tree->plan;
    int least = plan->variables;
    for (int i = 0; i < count; i++)
        least = plan->place[variable[i]] < least ? plan->place[variable[i]] : least;
    if (tree->logs || count > RL_MOST_AXES)
        return false;
    const rl_join *join = join_of_factor(plan, least, count, variable);
    bool left = join && is_factor_of(plan, join->left, count, variable);
    if (!join || !tree->bar[join->out] || (!left && plan->part[join->left].room >= 0))
        return false;
    int at = (int)(join - plan->join);
    run_back(tree, least, at + 1);
    rl_mark mark = rl_arena_mark(arena);
    int number = left ? join->left : join->right;
    const rl_part *part = &plan->part[number];
    const double *bar = tree->bar[join->out];
    if (!rl_copies(tree, least, at)) {
        double *made = rl_raw(arena, part->cells, double);
        side_back(tree, join, made, bar, left);
        bar = made;
    }
    put_in_order(plan, part, tree->value[number], bar, variable, out);
    rl_arena_rewind(arena, mark);
    return true;
}

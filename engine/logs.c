/* logs.c: the passes once more in logarithms, where doubles would underflow.
 *
 * Invariant: after a collect the messages are logarithms; a bucket's product is
 * the law of its variable given the separator, made again whenever it is asked
 * for, and the bar of a message is its separator's belief.  All buckets count
 * as changed: the next collect starts anew.
 */
#include "infer_private.h"

#include <assert.h>
#include <math.h>
#include <string.h>

enum visit_mode { ADD_LOG, ADD, SUM_UP };

/* big += ln small, big += small, or small += big; `small` lies in the bucket's table `big`. */
static void visit(const rl_tree *tree, int bucket, double *big, const rl_part *part, double *small,
                  enum visit_mode mode)
{
    const rl_plan *plan = tree->plan;
    rl_axis axes[RL_MOST_AXES];
    size_t at[RL_MOST_AXES] = {0};
    int rank = rl_bucket_axes(plan, bucket, &plan->part[rl_message_part(plan, bucket)], part, axes), i;
    do {
        if (mode == SUM_UP)
            *small += *big;
        else
            *big += mode == ADD_LOG ? log(*small) : *small;
        for (i = 0; i < rank; i++) {
            big += axes[i].out;
            small += axes[i].right;
            if (++at[i] < axes[i].count)
                break;
            big -= axes[i].out * axes[i].count;
            small -= axes[i].right * axes[i].count;
            at[i] = 0;
        }
    } while (i < rank);
}

static void visit_part(const rl_tree *tree, int bucket, double *big, int part, enum visit_mode mode)
{
    visit(tree, bucket, big, &tree->plan->part[part], tree->value[part], mode);
}

/* ln of the product of all that arrives in the bucket; messages are in logarithms. */
static void make_log_product(const rl_tree *tree, int k, double *table)
{
    const rl_plan *plan = tree->plan;
    const rl_bucket *bucket = &tree->bucket[k];
    memset(table, 0, rl_bucket_cells(tree, k) * sizeof *table);
    visit(tree, k, table, &plan->part[k], bucket->terms, ADD_LOG);
    if (bucket->weighted)
        visit(tree, k, table, &plan->part[k], bucket->weight, ADD_LOG);
    for (int j = plan->first_join[k]; j < plan->first_join[k + 1]; j++) {
        int side[2] = {plan->join[j].left, plan->join[j].right};
        for (int i = 0; i < 2; i++)
            if (side[i] >= 0 && plan->part[side[i]].factor >= 0)
                visit_part(tree, k, table, side[i], ADD_LOG);
    }
    for (int c = plan->child[k]; c >= 0; c = plan->sibling[c])
        visit_part(tree, k, table, rl_message_part(plan, c), ADD);
}

/* ln of the sum of exp of a column; the column becomes the shares in it. */
static double share_column(double *column, size_t count, size_t step)
{
    double greatest = -INFINITY, sum = 0;
    for (size_t i = 0; i < count; i++)
        greatest = column[i * step] > greatest ? column[i * step] : greatest;
    for (size_t i = 0; i < count; i++) {
        double *cell = &column[i * step];
        *cell = greatest > -INFINITY ? exp(*cell - greatest) : 0;
        sum += *cell;
    }
    if (sum == 0)
        return -INFINITY;
    for (size_t i = 0; i < count; i++)
        column[i * step] /= sum;
    return greatest + log(sum);
}

/* The bucket's table in logarithms, then the law of its variable given the separator;
 * `message`: where not NULL, takes ln of what each column came to. */
static void make_law(const rl_tree *tree, int k, double *law, double *message)
{
    const rl_plan *plan = tree->plan;
    size_t rest = plan->part[rl_message_part(plan, k)].cells;
    make_log_product(tree, k, law);
    for (size_t j = 0; j < rest; j++) {
        double sum = share_column(law + j, (size_t)plan->size[k], rest);
        if (message)
            message[j] = sum;
    }
}

void rl_law_from_logs(const rl_tree *tree, int k, double *out)
{
    assert(tree->logs);
    make_law(tree, k, out, NULL);
}

static double *take_table(rl_tree *tree, int k)
{
    return rl_arena_raw(tree->arena, rl_bucket_cells(tree, k) * sizeof(double));
}

double rl_collect_logs(rl_tree *tree)
{
    const rl_plan *plan = tree->plan;
    double total = 0;
    for (int k = 0; k < tree->buckets; k++) {
        rl_mark mark = rl_arena_mark(tree->arena);
        double *message = tree->value[rl_message_part(plan, k)];
        make_law(tree, k, take_table(tree, k), message);
        total += plan->parent[k] < 0 ? message[0] : 0;
        tree->bucket[k].changed = true;
        rl_arena_rewind(tree->arena, mark);
    }
    tree->logs = true;
    return total;
}

/* The law becomes the belief of the bucket's table. */
static void make_belief(const rl_tree *tree, int k, double *table)
{
    const rl_plan *plan = tree->plan;
    size_t size = (size_t)plan->size[k], rest = plan->part[rl_message_part(plan, k)].cells;
    const double *above = tree->bar[rl_message_part(plan, k)];
    for (size_t i = 0; i < size; i++)
        for (size_t j = 0; j < rest; j++)
            table[i * rest + j] *= above[j];
}

void rl_distribute_logs(rl_tree *tree)
{
    const rl_plan *plan = tree->plan;
    assert(tree->logs);
    for (int k = tree->buckets - 1; k >= 0; k--) {
        rl_mark mark = rl_arena_mark(tree->arena);
        double *belief = take_table(tree, k);
        if (plan->parent[k] < 0)
            tree->bar[rl_message_part(plan, k)][0] = 1;
        make_law(tree, k, belief, NULL);
        make_belief(tree, k, belief);
        memset(tree->bucket[k].marginal, 0, (size_t)plan->size[k] * sizeof(double));
        visit(tree, k, belief, &plan->part[k], tree->bucket[k].marginal, SUM_UP);
        for (int c = plan->child[k]; c >= 0; c = plan->sibling[c]) {
            const rl_part *part = &plan->part[rl_message_part(plan, c)];
            double *bar = tree->bar[rl_message_part(plan, c)];
            memset(bar, 0, part->cells * sizeof *bar);
            visit(tree, k, belief, part, bar, SUM_UP);
        }
        rl_arena_rewind(tree->arena, mark);
    }
}

/* cover.c: see cover.h. */
#include "cover.h"

#include <string.h>

/* A separator's state whose message is fainter has no belief to speak of (else
 * the collect would have been made in logarithms), and could not be divided by. */
static const double FAINTEST = 1e-290;

static bool in_scope(const rl_plan *plan, int bucket, int place)
{
    const int *scope = rl_scope(plan, bucket);
    int count = rl_scope_count(plan, bucket);
    for (int i = 0; i < count; i++)
        if (scope[i] == place)
            return true;
    return false;
}

static int least_active(const rl_cover *cover)
{
    int at = 0;
    for (int i = 1; i < cover->actives; i++)
        if (cover->active[i] < cover->active[at])
            at = i;
    return at;
}

/* Whether bucket k holds all that is still active in its component. */
static bool holds_rest(const rl_cover *cover, int k)
{
    const int *root = cover->tree->root;
    for (int i = 0; i < cover->actives; i++) {
        int other = cover->active[i];
        if (other != k && root[other] == root[k] &&
            (!cover->fresh[i] || !in_scope(cover->tree->plan, k, other)))
            return false;
    }
    return true;
}

static void finish_component(rl_cover *cover, int root)
{
    int left = 0;
    for (int i = 0; i < cover->actives; i++)
        if (cover->tree->root[cover->active[i]] != root) {
            cover->active[left] = cover->active[i];
            cover->fresh[left++] = cover->fresh[i];
        }
    cover->actives = left;
}

/* The parent takes the place of the active bucket `at`, or joins one there. */
static void climb(rl_cover *cover, int at)
{
    int parent = cover->tree->plan->parent[cover->active[at]];
    assert(parent >= 0);
    for (int i = 0; i < cover->actives; i++)
        if (cover->active[i] == parent) {
            cover->fresh[i] = false;
            cover->active[at] = cover->active[--cover->actives];
            cover->fresh[at] = cover->fresh[cover->actives];
            return;
        }
    cover->active[at] = parent;
    cover->fresh[at] = false;
}

void rl_cover_find(rl_cover *cover)
{
    while (cover->actives > 0) {
        int at = least_active(cover), k = cover->active[at];
        bool top = holds_rest(cover, k);
        cover->bucket[cover->buckets] = k;
        cover->top[cover->buckets++] = top;
        if (top)
            finish_component(cover, cover->tree->root[k]);
        else
            climb(cover, at);
    }
}

void rl_cover_start(rl_cover *cover, const rl_tree *tree, rl_arena *arena)
{
    int n = tree->buckets;
    *cover = (rl_cover){.tree = tree, .active = rl_raw(arena, n, int), .fresh = rl_raw(arena, n, bool),
                        .bucket = rl_raw(arena, n, int), .top = rl_raw(arena, n, bool)};
}

void rl_cover_ask(rl_cover *cover, int place)
{
    cover->active[cover->actives] = place;
    cover->fresh[cover->actives++] = true;
}

/* Product over message, or product by bar. */
double *rl_cover_table(const rl_tree *tree, rl_arena *arena, int k, bool top)
{
    int part = rl_message_part(tree->plan, k);
    size_t rest = tree->plan->part[part].cells, size = (size_t)tree->plan->size[k];
    double *table = rl_raw(arena, size * rest, double);
    double *ratio = rl_raw(arena, rest, double);
    rl_bucket_product(tree, k, table);
    for (size_t j = 0; j < rest; j++) {
        double sum = rl_bucket_sum(tree, k, j);
        ratio[j] = sum <= FAINTEST ? 0 : top ? tree->bar[part][j] : 1 / sum;
    }
    for (size_t i = 0; i < size; i++)
        rl_times(table + i * rest, ratio, rest);
    return table;
}

/* net_file.c: a network and its marginals as text, for the comparison with dlib.
 *
 * Invariant: numbers are written so that they read back exactly.
 */
#include "net_file.h"

#include "infer_private.h"

#include <assert.h>

enum { MOST_VALUES = 4096 };

static size_t cells_of(const rl_net *net, const rl_table *factor)
{
    size_t cells = 1;
    for (int i = 0; i < factor->count; i++)
        cells *= (size_t)net->size[factor->variable[i]];
    return cells;
}

static void write_net(FILE *out, const rl_net *net)
{
    fprintf(out, "%d %d\n", net->variables, net->factors);
    for (int v = 0; v < net->variables; v++)
        fprintf(out, "%d ", net->size[v]);
    for (int f = 0; f < net->factors; f++) {
        const rl_table *factor = &net->factor[f];
        size_t cells = cells_of(net, factor);
        fprintf(out, "\n%d", factor->count);
        for (int i = 0; i < factor->count; i++)
            fprintf(out, " %d", factor->variable[i]);
        for (size_t i = 0; i < cells; i++)
            fprintf(out, " %.17g", factor->cells[i]);
    }
    fprintf(out, "\n");
}

static void write_marginals(FILE *out, const rl_net *net, const rl_tree *tree)
{
    for (int v = 0; v < net->variables; v++) {
        double p[MOST_VALUES];
        assert(net->size[v] <= MOST_VALUES);
        rl_tree_marginal(tree, v, p);
        for (int i = 0; i < net->size[v]; i++)
            fprintf(out, "%.17g ", p[i]);
        fprintf(out, "\n");
    }
}

void net_file_write(FILE *out, const rl_net *net, const rl_tree *tree)
{
    write_net(out, net);
    write_marginals(out, net, tree);
}

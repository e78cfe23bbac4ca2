/* bench_net.c: the pruned network of a case, written out for another program, and passed
 * messages on here.
 *
 * bench_net RULES CASES|eight OUT: writes sizes, factors and the marginals that ringlug
 * finds; says the CPU seconds of making the tree and passing its messages, and of passing
 * them alone, the mean of ROUNDS.
 */
#include "held/disk.h"
#include "eight.h"
#include "net_file.h"
#include "work.h"

#include <setjmp.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

enum { ROUNDS = 100 };

static double seconds(void)
{
    return (double)clock() / CLOCKS_PER_SEC;
}

/* A tree of the network, its messages passed; adds what that took. */
static rl_tree *work_out(rl_arena *arena, const rl_net *net, double *all, double *passing)
{
    double start = seconds();
    rl_tree *tree = rl_tree_make(arena, net, rl_plan_make(arena, net));
    double made = seconds();
    rl_tree_collect(tree);
    rl_tree_distribute(tree);
    double passed = seconds();
    *all += passed - start;
    *passing += passed - made;
    return tree;
}

static rl_tree *rounds(rl_arena *arena, const rl_net *net)
{
    double all = 0, passing = 0;
    rl_mark mark = rl_arena_mark(arena);
    rl_tree *tree = NULL;
    for (int i = 0; i < ROUNDS; i++) {
        rl_arena_rewind(arena, mark);
        tree = work_out(arena, net, &all, &passing);
    }
    printf("all %g s, passed %g s\n", all / ROUNDS, passing / ROUNDS);
    return tree;
}

static rl_case *eight(rl_context *context, const rl_model *model)
{
    rl_case *c = NULL;
    disk_must(rl_case_new(context, model, "bench", &c), "case");
    for (int i = 0; i < EIGHT; i++)
        disk_must(rl_case_add(c, eight_lines[i], strlen(eight_lines[i]), "bench", 1), eight_lines[i]);
    return c;
}

int main(int count, char **word)
{
    if (count != 4) {
        fprintf(stderr, "usage: bench_net RULES CASES|eight OUT\n");
        return 2;
    }
    rl_context *context = disk_context("rules");
    rl_model *model = disk_model(context, word[1]);
    rl_case *c = strcmp(word[2], "eight") == 0 ? eight(context, model) : disk_case(context, model, word[2]);
    static rl_bench bench;
    rl_arena arena;
    jmp_buf bail;
    rl_arena_init(&arena, &context->allocator, 0);
    arena.bail = &bail;
    if (setjmp(bail) != 0)
        disk_must(RL_MEMORY, "network");
    disk_must(rl_bench_make(&bench, &arena, c, NULL), "network");
    rl_tree *tree = rounds(&arena, bench.network.net);
    FILE *out = fopen(word[3], "w");
    if (out == NULL)
        disk_must(RL_REFUSED, word[3]);
    net_file_write(out, bench.network.net, tree);
    return fclose(out) == 0 ? 0 : 1;
}

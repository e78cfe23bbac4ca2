/* net_file.h: a network and its marginals as text. */
#ifndef BENCH_NET_FILE_H
#define BENCH_NET_FILE_H

#include "infer.h"

#include <stdio.h>

/* Variables and factors, their sizes, each factor, then each variable's marginal,
 * which the tree must be ready to tell. */
void net_file_write(FILE *out, const rl_net *net, const rl_tree *tree);

#endif

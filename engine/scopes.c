/* scopes.c: see scopes.h. */
#include "scopes.h"

#include "infer_private.h"

#include <assert.h>

int rl_net_factors(const rl_net *net)
{
    return net->factors;
}

const int *rl_net_scope(const rl_net *net, int factor, int *count)
{
    assert(factor >= 0 && factor < net->factors);
    *count = net->factor[factor].count;
    return net->factor[factor].variable;
}

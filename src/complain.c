/* complain.c: see complain.h.  Invariant: it is what `simulate` and `rehearse` would say too. */
#include "complain.h"

rl_status complain_can(const session *s)
{
    rl_drawn *drawn;
    rl_status status = rl_drawn_new(s->context, s->model, 1, 0, &drawn);
    rl_drawn_free(drawn);
    return status;
}

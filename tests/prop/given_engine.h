/* given_engine.h: the library's answers in the common shape, through ringlug.h alone. */
#ifndef GIVEN_ENGINE_H
#define GIVEN_ENGINE_H

#include "given.h"

/* How much is asked: the posteriors and suspects always. */
enum { ASK_EXPLANATIONS = 1, ASK_TESTS = 2 };

/* NULL where the library returned anything but RL_OK and RL_CONTRADICTION (said on standard error). */
given *given_from_engine(const rl_model *model, rl_case *c, unsigned what);

#endif

/* outlook.h: what the parts of "what next" share: outlook.c and ahead.c.
 *
 * Invariant: the sequel is closed by the public function however the question
 * inside ended.
 */
#ifndef RL_OUTLOOK_H
#define RL_OUTLOOK_H

#include "sequel.h"

enum { RL_OUTLOOK_TESTS = 6 };

/* Tests that are worth a closer look. */
typedef struct rl_choice {
    const rl_test **test;
    int count;
} rl_choice;
/* How many of the best tests a choice of at most `most` is made from. */
size_t rl_choice_reach(size_t most);
/* The best half by bits per minute, then those that tell most; no two measure the same. */
rl_choice rl_choose_tests(rl_arena *arena, const rl_test *list, size_t count, size_t most);

/* Repairs and advice as rl_case_outlook has them, without the courses: much less work, as
 * the advice is mostly the first test that is tried.  Status and ownership as there. */
rl_status rl_case_advice(rl_case *c, const rl_outlook **out);

/* Minutes of the proof of a repair: the longest look that it takes to see again what was seen amiss. */
double rl_proof_minutes(const rl_case *c);
/* Minutes of a repair, without access and proof: as the rules say, or customary for its sort. */
double rl_repair_minutes(const rl_element *info);

#endif

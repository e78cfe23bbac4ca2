/* words_why.h: how the weight of findings for and against a suspect is said. */
#ifndef WORDS_WHY_H
#define WORDS_WHY_H

#include "ringlug.h"
#include "term.h"

/* The page of one suspect in one case: prior and posterior, the findings in
 * groups that speak alike, by weight, and the loads not looked at.  The status is that of the answer;
 * nothing is printed unless it is RL_OK. */
rl_status words_why_page(const screen *sc, const rl_model *model, rl_case *c, size_t element);
/* Decibans as they are shown: "+12.1 dB", "-0.3 dB", "+inf dB". */
void words_decibans(text *out, double db);

#endif

/* words.h: how results are said.  All wording of results is here.
 *
 * Invariant: everything that is added to a text here is safe to print.
 */
#ifndef WORDS_H
#define WORDS_H

#include "ringlug.h"
#include "text.h"

#include <stdbool.h>

/* "87%", "0.4%", "<0.1%", ">99.9%": never certain unless it is. */
void words_percent(text *out, double p);
/* "rear crossmember stud (rear)"; a wire is named after its load. */
void words_name(text *out, const rl_model *model, size_t element);
/* The label alone, for a table that shows the id beside it; "" where it says no more than the id. */
void words_label(text *out, const rl_model *model, size_t element);
/* Rounded so that what differs by the order of additions alone is equal: everything is ranked by this. */
double words_coarse(double number);
double words_not_sound(const rl_belief *belief);
/* The likeliest state that is not sound. */
rl_state words_worst(const rl_belief *belief);
/* "strongly", "clearly", "slightly"; NULL where a finding says next to nothing. */
const char *words_strength(double db);
void words_minutes(text *out, double minutes);
/* "12 mV", "0.31 V", "12.4 V", "35 mohm", "2.1 ohm" */
void words_volts(text *out, double volts);
void words_ohms(text *out, double ohms);

/* Where a lead goes at an element: "the ring terminal at" a ground point, "the metal at" a splice or connector. */
const char *words_contact(const rl_model *model, size_t element);
/* Whether the test is a reading or a sound of a meter. */
bool words_is_reading(const rl_test *test);
/* What to do, in a sentence. */
void words_how(text *out, const rl_model *model, const rl_test *test);
/* What a healthy and what a faulty result would be, in a sentence; nothing if there is none. */
void words_outcomes(text *out, const rl_model *model, const rl_test *test);

/* "rear crossmember stud (rear) corroded + …", or that nothing is at fault. */
void words_explanation(text *out, const rl_model *model, const rl_explanation *explanation);
/* Tests that could not be worked out. */
/* Of what share of all probability the bits of tests are. */
void words_tests_share(text *out, double share);
void words_unknown(text *out, size_t count);
/* The line of shares. */
void words_shares(text *out, const rl_shares *shares);
/* The name of a case, or a word for one that has none. */
const char *words_case(const rl_case *c);
/* The bound of an answer that is not exact. */
void words_bound(text *out, const rl_answer *answer);

/* The element most likely not sound; the model has at least one. */
size_t words_leader(const rl_model *model, const rl_answer *answer);
/* The sentence that sums a case up: the leader, how sure.  What to do next follows it (words_next.h). */
void words_sum(text *out, const rl_model *model, const rl_answer *answer, const rl_shares *shares);
/* One line of a case as it may be quoted: safe, on demand with its place. */
void words_line(text *out, const rl_line *line, bool place);

#endif

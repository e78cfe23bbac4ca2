/* oracle.h: the answers of design §4 by enumeration, for small vehicles.
 *
 * Invariant: shares nothing with the engine but the arena, the diagnostics
 * and the syntax tree: names, paths, laws, readings and worlds are worked out
 * again here, the plain way, so that two mistakes would have to agree.  The
 * files are assumed to be valid.  Memory that runs out ends the program.
 */
#ifndef OC_ORACLE_H
#define OC_ORACLE_H

#include "../../engine/ringlug.h"

typedef struct oc_model oc_model;
typedef struct oc_case oc_case;

typedef struct oc_explanation {
    double p;
    const rl_state *state;       /* one for each suspect, in the order of `suspect` */
} oc_explanation;

typedef struct oc_test {
    const char *text;
    double bits, minutes;
} oc_test;

typedef struct oc_answer {
    bool wide;                   /* more joint states than the bound: nothing else is set */
    bool contradiction;          /* nothing else is set but the tests' text */
    double log_evidence;
    const double (*p)[RL_STATES];
    double share_return, share_feed, share_load, share_none;
    const int *suspect;
    int suspects;
    const oc_explanation *explanation;   /* all of probability above 0, best first */
    size_t explanations;
    const oc_test *test;
    int tests;
} oc_answer;

/* NULL where the file or an include cannot be read or parsed. */
oc_model *oc_model_read(const char *path);
void oc_model_free(oc_model *model);
int oc_model_elements(const oc_model *model);
const char *oc_model_id(const oc_model *model, int element);
bool oc_model_is_load(const oc_model *model, int element);

/* The cases of a file; *count of them.  They belong to the model. */
oc_case **oc_cases_read(oc_model *model, const char *path, size_t *count);
const char *oc_case_name(const oc_case *c);
/* At most `bound` joint states of what the findings touch are looked at. */
oc_answer oc_solve(oc_case *c, double bound);
/* ln P(findings) alone; NAN where that is too wide. */
double oc_log_evidence(oc_case *c, double bound);
/* Of the lines of the file listed alone, each meaning what it means beside all the others. */
double oc_log_evidence_of(oc_case *c, double bound, const size_t *line, size_t lines);
/* The lines of the case that count as findings; `room` of them at most. */
size_t oc_case_lines(const oc_case *c, size_t *line, size_t room);

#endif

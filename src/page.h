/* page.h: the ranking of a case as a page for a technician. */
#ifndef PAGE_H
#define PAGE_H

#include "session.h"
#include "term.h"

typedef struct page {
    const screen *screen;
    const rl_model *model;
    size_t tests;           /* lines of tests to show; 0: all */
    size_t explanations;
    bool recipes;           /* each test with the whole of its recipe */
    size_t lookahead;       /* 2: pairs of tests too */
} page;

/* The whole page.  Contradictions and wide answers are said on it too; the
 * status is that of the answer. */
rl_status page_case(const page *p, rl_case *c);
/* What speaks for and against an element. */
rl_status page_why(const page *p, rl_case *c, size_t element);
/* Briefly: the three leading suspects and the best next test. */
rl_status page_brief(const page *p, rl_case *c);
/* The tests, and what is expected of testing and of repairing. */
rl_status page_next(const page *p, rl_case *c);
/* The recipe of the test that has this number where `tests` of them are shown. */
rl_status page_how(const page *p, rl_case *c, size_t number, bool *found);
/* Which lines contradict each other. */
rl_status page_contradiction(const page *p, rl_case *c);

#endif

/* page_next.h: what to do next, as a part of a page. */
#ifndef PAGE_NEXT_H
#define PAGE_NEXT_H

#include "page.h"

/* The tests from the driver's seat, then the others, each group best first; the first two with
 * what to do, all of them with their cautions before them.  With `lookahead` 2 also pairs. */
rl_status page_tests(const page *p, rl_case *c);
/* One test: its cautions, the line to type with minutes and bits, how, what is healthy.
 * `first` is 5 columns wide. */
void page_test(const page *p, const char *first, const rl_test *test);
/* Expected minutes to a confirmed repair: with the best test first, and of repairing at once. */
void page_courses(const page *p, const rl_outlook *outlook);

#endif

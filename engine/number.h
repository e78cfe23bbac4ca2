/* number.h: decimal text to double and back, exactly, in any locale.
 *
 * Invariant: rl_number_read rounds correctly (half to even) whatever the
 * length of the text; nothing here asks the locale or keeps state.
 */
#ifndef RL_NUMBER_H
#define RL_NUMBER_H

#include <stddef.h>

typedef enum rl_number_fault {
    RL_NUMBER_OK,
    RL_NUMBER_LARGE,   /* beyond the largest double */
    RL_NUMBER_SMALL    /* not zero, but nearer to zero than to any other double */
} rl_number_fault;

/* `text` is [-]digits[.digits][e[+-]digits], checked by the caller. */
rl_number_fault rl_number_read(const char *text, size_t length, double *out);

enum { RL_NUMBER_MOST = 17 };  /* significant digits that any double needs at most */
/* |number| = 0.d1d2d3… x 10^*exponent, rounded correctly to `count` digits
 * (1 to 17), written to `digits` as '0' to '9' without a NUL.  Finite, not 0. */
void rl_number_digits(double number, int count, char *digits, int *exponent);

#endif

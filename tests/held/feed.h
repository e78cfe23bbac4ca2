/* feed.h: what is done with an input, by the fuzz targets and by test_corpus.c.
 *
 * Invariant: each function returns NULL, or says what promise the library
 * broke: a probability out of range, text that does not read back, a piece of
 * memory not given back.  An input that is refused is as good as any other.
 */
#ifndef FEED_H
#define FEED_H

#include <stdint.h>
#include <stddef.h>

/* The input is a rule file; it may include "base.gnd" (tests/held/small.h). */
const char *feed_rules(const uint8_t *data, size_t size);
/* The input is a case file for the vehicle of tests/held/small.h. */
const char *feed_case(const uint8_t *data, size_t size);

#endif

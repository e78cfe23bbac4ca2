/* published.h: the figures of the JSON files in tests/data, which come from outside.
 *
 * Invariant: what is not there, or is of another sort or size than expected, fails
 * the test: nothing is compared with a figure that was never read.
 */
#ifndef PUBLISHED_H
#define PUBLISHED_H

#include <jansson.h>
#include <stddef.h>

/* A file of tests/data; to be given to json_decref. */
json_t *published(const char *name);
/* The list of that name, with so many entries. */
const json_t *published_list(const json_t *object, const char *name, size_t count);
double published_number(const json_t *object, const char *name);
double published_at(const json_t *list, size_t i);

#endif

/* drawn_files.h: a drawn vehicle as files of a temporary folder.
 *
 * Invariant: the folder holds no files but "base.gnd", "v.gnd" and "v.case",
 * and is gone after `drawn_drop`.
 */
#ifndef DRAWN_FILES_H
#define DRAWN_FILES_H

#include "random_rules.h"
#include "ringlug.h"

/* Setting-up and tearing-down of a group of tests: makes and removes the folder. */
int drawn_make(void **state);
int drawn_drop(void **state);

/* The path of a file in the folder; it lasts for three calls more. */
const char *drawn_path(const char *name);
void drawn_write(const char *name, const char *text);
/* Draws a vehicle and writes all its files. */
void drawn_put(uint64_t seed, drawn *text);
/* Reads "v.gnd" and "v.case", which have to be accepted; a book of NULL: the rules alone. */
void drawn_read(rl_context *context, rl_model **model, rl_book **book);

/* A number of the environment: RANDOM_SEED, RANDOM_COUNT. */
uint64_t drawn_setting(const char *name, uint64_t missing);

#endif

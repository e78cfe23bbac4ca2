/* json.h: answers as JSON objects, one on a line (design §5). */
#ifndef JSON_H
#define JSON_H

#include "ringlug.h"

#include <jansson.h>

#include <stdio.h>

/* How much of an answer is wanted. */
typedef struct json_amount {
    size_t explanations;
    size_t tests;               /* 0: all */
    size_t lookahead;           /* 2: pairs of tests too */
} json_amount;

/* One case of `rank`: what the library could not answer is said in the
 * object; the status is that of the answer. */
rl_status json_rank(FILE *out, const rl_model *model, rl_case *c, const json_amount *most);
/* Prints an object on a line of its own and gives it up. */
void json_print(FILE *out, json_t *object);
/* A number; null where JSON cannot say it. */
json_t *json_number_of(double value);
json_t *json_range(double low, double high);
/* Both take the value over; without memory the tool ends. */
void json_put(json_t *object, const char *key, json_t *value);
void json_add(json_t *list, json_t *value);
/* Sets "contradiction": the lines of a smallest contradicting set. */
rl_status json_contradiction(json_t *object, rl_case *c);
/* A string; what is not UTF-8 is replaced by something that is. */
json_t *json_words(const char *words);

#endif

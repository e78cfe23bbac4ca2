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
/* A string; what is not UTF-8 is replaced by something that is. */
json_t *json_words(const char *words);

#endif

/* bench_case.c: one question of a case, for callgrind to count.
 *
 * bench_case RULES WHAT [ROUNDS]: the eight findings are said of the vehicle, and what
 * WHAT names is asked inside `measured`, which callgrind's --toggle-collect names:
 *   fresh   evidence to all posteriors, of eight findings
 *   nine    the same of nine findings, their lines said within
 *   more    the ninth finding, said and answered, of a case that has its eight answered
 *   tests   bits of all tests, of a case that is answered
 *   again   the same of a second case of the model, its vehicle's tables made by then
 *   model   the model is read once more
 */
#include "held/disk.h"
#include "eight.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef enum question { FRESH, NINE, MORE, TESTS, AGAIN, MODEL, WHATS } question;
static const char *const names[WHATS] = {"fresh", "nine", "more", "tests", "again", "model"};

typedef struct job {
    rl_context *context;
    const char *rules;
    const rl_model *model;
    rl_case *c;
} job;

static void say(rl_case *c, const char *line)
{
    disk_must(rl_case_add(c, line, strlen(line), "bench", 1), line);
}

static void say_eight(rl_case *c)
{
    for (int i = 0; i < EIGHT; i++)
        say(c, eight_lines[i]);
}

static void answer(rl_case *c)
{
    const rl_answer *out;
    disk_must(rl_case_answer(c, &out), "answer");
}

static size_t ask_tests(rl_case *c)
{
    const rl_test *list;
    size_t count;
    disk_must(rl_case_tests(c, &list, &count), "tests");
    return count;
}

static void prepare(job *j, question what)
{
    disk_must(rl_case_new(j->context, j->model, "bench", &j->c), "case");
    if (what != NINE)
        say_eight(j->c);
    if (what == MORE || what == TESTS || what == AGAIN)
        answer(j->c);
}

__attribute__((noinline)) void measured(job *j, question what);
void measured(job *j, question what)
{
    switch (what) {
    case NINE:
        say_eight(j->c);
        say(j->c, ninth_line);
        answer(j->c);
        break;
    case MORE:
        say(j->c, ninth_line);
        answer(j->c);
        break;
    case TESTS:
    case AGAIN:
        (void)ask_tests(j->c);
        break;
    case MODEL:
        rl_model_free(disk_model(j->context, j->rules));
        break;
    default:
        answer(j->c);
    }
}

static question what_of(const char *name)
{
    for (int i = 0; i < WHATS; i++)
        if (strcmp(names[i], name) == 0)
            return (question)i;
    fprintf(stderr, "no bench %s\n", name);
    exit(2);
}

int main(int count, char **word)
{
    if (count != 3) {
        fprintf(stderr, "usage: bench_case RULES WHAT\n");
        return 2;
    }
    job j = {.context = disk_context("rules"), .rules = word[1]};
    rl_model *model = disk_model(j.context, word[1]);
    j.model = model;
    question what = what_of(word[2]);
    if (what == AGAIN) {
        prepare(&j, TESTS);
        (void)ask_tests(j.c);
        rl_case_free(j.c);
    }
    prepare(&j, what);
    measured(&j, what);
    const rl_answer *out;
    if (what != MODEL) {
        disk_must(rl_case_answer(j.c, &out), "answer");
        printf("cells %g width %zu tests %zu\n", out->cells, out->width, what == TESTS || what == AGAIN ? ask_tests(j.c) : 0);
    }
    rl_case_free(j.c);
    rl_model_free(model);
    rl_context_free(j.context);
    return 0;
}

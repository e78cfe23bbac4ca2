/* options.c: reading a command line.  Invariant: wrong usage is said on
 * stderr in one line, with the nearest option where one is meant, and is status 2. */
#include "options.h"

#include "report.h"
#include "status.h"
#include "text.h"

#include <assert.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int wrong(const usage *u, const char *what, const char *word)
{
    report_say("ringlug %s: %s`%s` (see: ringlug %s --help)", u->command, what, word, u->command);
    return TOOL_USAGE;
}

static int unknown(const usage *u, const char *name)
{
    const char *names[16] = { "--help" };
    size_t count = 1;
    assert(u->options < 15);
    for (size_t i = 0; i < u->options; i++)
        names[count++] = u->option[i].name;
    const char *nearest = text_nearest(name, names, count);
    if (nearest == NULL)
        return wrong(u, "there is no option ", name);
    text what = { 0 };
    text_add(&what, "did you mean `%s`? There is no option ", nearest);
    int status = wrong(u, text_get(&what), name);
    text_free(&what);
    return status;
}

static int set_count(const usage *u, const option_spec *o, const char *value)
{
    char *end;
    errno = 0;
    unsigned long long number = strtoull(value, &end, 10);
    if (value[0] < '0' || value[0] > '9' || *end != '\0' || errno != 0 || number < o->least || number > o->most) {
        text what = { 0 };
        text_add(&what, "`%s` takes a whole number from %zu to %zu, not ", o->name, o->least, o->most);
        int status = wrong(u, text_get(&what), value);
        text_free(&what);
        return status;
    }
    *o->count = (size_t)number;
    return -1;
}

static const option_spec *find(const usage *u, const char *name, size_t length)
{
    for (size_t i = 0; i < u->options; i++)
        if (strlen(u->option[i].name) == length && strncmp(u->option[i].name, name, length) == 0)
            return &u->option[i];
    return NULL;
}

/* One option at argv[*at]; moves *at past a value of its own. */
static int take(const usage *u, int argc, char **argv, int *at)
{
    const char *word = argv[*at], *equals = strchr(word, '=');
    size_t length = equals != NULL ? (size_t)(equals - word) : strlen(word);
    const option_spec *o = find(u, word, length);
    if (o == NULL)
        return unknown(u, word);
    if (o->flag != NULL) {
        if (equals != NULL)
            return wrong(u, "this option takes no value: ", word);
        *o->flag = true;
        return -1;
    }
    if (equals == NULL && *at + 1 >= argc)
        return wrong(u, "a value is missing after ", word);
    const char *value = equals != NULL ? equals + 1 : argv[++*at];
    if (o->count != NULL)
        return set_count(u, o, value);
    *o->word = value;
    return -1;
}

int options_read(const usage *u, int argc, char **argv, int *operands)
{
    int count = 0;
    bool all_operands = false;
    for (int i = 0; i < argc; i++) {
        if (all_operands || argv[i][0] != '-' || argv[i][1] == '\0') {
            argv[count++] = argv[i];
        } else if (strcmp(argv[i], "--") == 0) {
            all_operands = true;
        } else if (strcmp(argv[i], "--help") == 0 || strcmp(argv[i], "-h") == 0) {
            fputs(u->help, stdout);
            return TOOL_DONE;
        } else {
            int status = take(u, argc, argv, &i);
            if (status >= 0)
                return status;
        }
    }
    *operands = count;
    if (count < u->least)
        return wrong(u, "this argument is missing: ", u->operand[count]);
    if (u->most >= 0 && count > u->most)
        return wrong(u, "one argument too many: ", argv[u->most]);
    return -1;
}

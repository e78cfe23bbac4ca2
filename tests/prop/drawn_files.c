/* drawn_files.c: a drawn vehicle as files of a temporary folder.
 *
 * Invariant: one program has one folder at a time.
 */
#include "drawn_files.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char folder[64];

int drawn_make(void **state)
{
    (void)state;
    const char *root = getenv("TMPDIR");
    snprintf(folder, sizeof folder, "%.40s/drawn-XXXXXX", root == NULL ? "/tmp" : root);
    return mkdtemp(folder) == NULL;
}

int drawn_drop(void **state)
{
    (void)state;
    static const char *const name[] = {"base.gnd", "v.gnd", "v.case"};
    for (int i = 0; i < 3; i++)
        unlink(drawn_path(name[i]));
    return rmdir(folder);
}

const char *drawn_path(const char *name)
{
    enum { PATHS = 4 };
    static char path[PATHS][96];
    static int turn;
    turn = (turn + 1) % PATHS;
    snprintf(path[turn], sizeof path[turn], "%s/%s", folder, name);
    return path[turn];
}

void drawn_write(const char *name, const char *text)
{
    FILE *file = fopen(drawn_path(name), "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(text, 1, strlen(text), file), strlen(text));
    assert_int_equal(fclose(file), 0);
}

void drawn_put(uint64_t seed, drawn *text)
{
    draw_vehicle(seed, text);
    drawn_write("base.gnd", text->base);
    drawn_write("v.gnd", text->rules);
    drawn_write("v.case", text->cases);
}

void drawn_read(rl_context *context, rl_model **model, rl_book **book)
{
    assert_int_equal(rl_model_read(context, drawn_path("v.gnd"), model), RL_OK);
    if (book != NULL)
        assert_int_equal(rl_book_read(context, *model, drawn_path("v.case"), book), RL_OK);
}

uint64_t drawn_setting(const char *name, uint64_t missing)
{
    const char *text = getenv(name);
    return text == NULL ? missing : strtoull(text, NULL, 10);
}

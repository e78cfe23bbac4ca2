/* bench_parse.c: how fast text becomes a syntax tree.
 *
 * bench_parse FILE MEGABYTES: the file, repeated to that size, is parsed once inside
 * `measured`, which callgrind's --toggle-collect names; says bytes, user CPU seconds
 * and MB/s.
 */
#include "held/disk.h"
#include "usage.h"
#include "parse.h"

#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void *take(void *user, size_t size) { (void)user; return malloc(size); }
static void give(void *user, void *piece) { (void)user; free(piece); }

__attribute__((noinline)) size_t measured(rl_arena *arena, const char *text, size_t length);
size_t measured(rl_arena *arena, const char *text, size_t length)
{
    const rl_sink silent = {NULL, NULL};
    rl_diag diag;
    rl_diag_init(&diag, arena, &silent, 0);
    ast_file *file = rl_parse(arena, &diag, rl_diag_source(&diag, "repeated", text, length));
    return diag.errors == 0 ? file->count : 0;
}

/* The file without its `language` line, which may stand only once. */
static char *repeated(const char *path, size_t wanted, size_t *length)
{
    FILE *in = fopen(path, "rb");
    char *text = malloc(wanted + 1);
    if (in == NULL || text == NULL)
        disk_must(RL_MISSING, path);
    size_t one = fread(text, 1, wanted, in);
    fclose(in);
    if (one > 11 && memcmp(text, "language 1\n", 11) == 0) {
        one -= 11;
        memmove(text, text + 11, one);
    }
    for (*length = one; *length + one <= wanted; *length += one)
        memcpy(text + *length, text, one);
    return text;
}

int main(int count, char **word)
{
    if (count != 3) {
        fprintf(stderr, "usage: bench_parse FILE MEGABYTES\n");
        return 2;
    }
    size_t length;
    char *text = repeated(word[1], (size_t)(1e6 * atof(word[2])), &length);
    const rl_allocator plain = {take, give, NULL};
    rl_arena arena;
    jmp_buf bail;
    rl_arena_init(&arena, &plain, 0);
    arena.bail = &bail;
    if (setjmp(bail) != 0)
        disk_must(RL_MEMORY, "parse");
    double start = usage_seconds();
    size_t statements = measured(&arena, text, length);
    double seconds = usage_seconds() - start;
    if (statements == 0)
        disk_must(RL_INPUT, word[1]);
    printf("%zu bytes, %zu statements, %.3f s, %.1f MB/s, %.1f MB at most\n", length, statements, seconds,
           1e-6 * (double)length / (seconds > 0 ? seconds : 1e-6), usage_megabytes());
    rl_arena_free(&arena);
    free(text);
    return 0;
}

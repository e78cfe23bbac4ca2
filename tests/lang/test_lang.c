/* test_lang.c: every file of lang/good and lang/bad, found by listing them.
 *
 * good/X.gnd, good/X.case: read without a message, and their canonical text is
 * a fixed point that reads back as many statements.
 * bad/X.gnd, bad/X.case: all messages together are bad/X.want, to the letter.
 * A case file names its rules in its first line: `# rules: PATH`, from its folder.
 * `test_lang write bad/X.gnd …` writes bad/X.want of the files named, and of no
 * other: read what it wrote.
 */
#include "parse.h"
#include "show.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MOST_FILES = 1000, LONGEST_PATH = 512 };

/* ---- reading a file with all that it needs ---- */

static rl_status load(void *user, const char *path, char **bytes, size_t *length)
{
    (void)user;
    *bytes = show_file(path, length);
    return *bytes == NULL ? RL_MISSING : RL_OK;
}

static void release(void *user, char *bytes)
{
    (void)user;
    free(bytes);
}

static void hear(void *user, const rl_report *report)
{
    show_report(user, report);
}

static bool is_case(const char *path)
{
    size_t length = strlen(path);
    return length > 5 && strcmp(path + length - 5, ".case") == 0;
}

/* The rule file that the first line of a case file names. */
static void rules_of(const char *path, char rules[LONGEST_PATH])
{
    static const char mark[] = "# rules: ";
    size_t length;
    char *text = show_file(path, &length);
    assert_non_null(text);
    char *found = strstr(text, mark);
    assert_true(found == text || (found == text + 3 && (unsigned char)text[0] == 0xef));
    const char *name = found + sizeof mark - 1;
    const char *slash = strrchr(path, '/');
    int count = snprintf(rules, LONGEST_PATH, "%.*s/%.*s", (int)(slash - path), path, (int)strcspn(name, "\r\n"), name);
    assert_true(count > 0 && count < LONGEST_PATH);
    free(text);
}

/* All messages about the file; *status is what reading it came to. */
static shown read_all(const char *path, rl_status *status)
{
    shown heard = {NULL, 0, 0};
    rl_context *context;
    rl_model *model = NULL;
    rl_book *book = NULL;
    char rules[LONGEST_PATH];
    show_put(&heard, "", 0);
    rl_settings settings = {
        .sink = {.say = hear, .user = &heard},
        .loader = {.read = load, .release = release},
    };
    assert_int_equal(rl_context_new(&settings, &context), RL_OK);
    if (is_case(path)) {
        rules_of(path, rules);
        assert_int_equal(rl_model_read(context, rules, &model), RL_OK);
        assert_string_equal(heard.text, "");
        *status = rl_book_read(context, model, path, &book);
        if (book != NULL)
            rl_book_free(book);
    } else {
        *status = rl_model_read(context, path, &model);
    }
    if (model != NULL)
        rl_model_free(model);
    rl_context_free(context);
    return heard;
}

/* ---- the fixed point ---- */

static void *take(void *user, size_t size)
{
    (void)user;
    return malloc(size);
}

static void give(void *user, void *piece)
{
    (void)user;
    free(piece);
}

static const ast_file *parse(rl_arena *arena, rl_diag *diag, const char *path, const char *text, size_t length)
{
    return rl_parse(arena, diag, rl_diag_source(diag, path, text, length));
}

static void check_fixed_point(const char *path)
{
    size_t length;
    jmp_buf out;
    rl_arena arena;
    rl_diag diag;
    shown heard = {NULL, 0, 0};
    const rl_allocator allocator = {take, give, NULL};
    const rl_sink sink = {hear, &heard};
    char *text = show_file(path, &length);
    assert_non_null(text);
    rl_arena_init(&arena, &allocator, 0);
    arena.bail = &out;
    if (setjmp(out) != 0)
        fail_msg("no memory");
    rl_diag_init(&diag, &arena, &sink, 0);
    const ast_file *file = parse(&arena, &diag, path, text, length);
    rl_text once = {.arena = &arena}, twice = {.arena = &arena};
    rl_print_file(&once, file);
    const ast_file *again = parse(&arena, &diag, "canonical text", once.bytes, once.length);
    rl_print_file(&twice, again);
    assert_null(heard.text);
    assert_int_equal(file->count, again->count);
    assert_string_equal(once.bytes, twice.bytes);
    rl_arena_free(&arena);
    free(text);
}

/* ---- the tests ---- */

static void test_good(void **state)
{
    const char *path = *state;
    rl_status status;
    shown heard = read_all(path, &status);
    assert_string_equal(heard.text, "");
    assert_int_equal(status, RL_OK);
    free(heard.text);
    check_fixed_point(path);
}

static void want_path(const char *path, char want[LONGEST_PATH])
{
    int count = snprintf(want, LONGEST_PATH, "%.*s.want", (int)(strrchr(path, '.') - path), path);
    assert_true(count > 0 && count < LONGEST_PATH);
}

static void test_bad(void **state)
{
    const char *path = *state;
    char name[LONGEST_PATH];
    size_t length;
    rl_status status;
    want_path(path, name);
    char *want = show_file(name, &length);
    if (want == NULL)
        fail_msg("%s is missing", name);
    shown heard = read_all(path, &status);
    assert_string_equal(heard.text, want);
    assert_true(heard.length > 0);
    assert_int_equal(status, strstr(want, ": error: ") != NULL ? RL_INPUT : RL_OK);
    free(heard.text);
    free(want);
}

static int by_name(const void *a, const void *b)
{
    const struct CMUnitTest *one = a, *two = b;
    return strcmp(one->name, two->name);
}

static size_t list(const char *folder, CMUnitTestFunction function, struct CMUnitTest *tests)
{
    size_t count = 0;
    DIR *open = opendir(folder);
    if (open == NULL)
        return 0;
    for (struct dirent *entry; (entry = readdir(open)) != NULL;) {
        const char *dot = strrchr(entry->d_name, '.');
        if (dot == NULL || (strcmp(dot, ".gnd") != 0 && strcmp(dot, ".case") != 0) || count == MOST_FILES)
            continue;
        size_t room = strlen(folder) + strlen(entry->d_name) + 2;
        char *path = malloc(room);
        if (path == NULL)
            abort();
        snprintf(path, room, "%s/%s", folder, entry->d_name);
        tests[count++] = (struct CMUnitTest){.name = path, .test_func = function, .initial_state = path};
    }
    closedir(open);
    qsort(tests, count, sizeof *tests, by_name);
    return count;
}

static int write_wants(int count, char **paths)
{
    for (int i = 0; i < count; i++) {
        char name[LONGEST_PATH];
        rl_status status;
        shown heard = read_all(paths[i], &status);
        want_path(paths[i], name);
        FILE *file = fopen(name, "wb");
        if (file == NULL || fwrite(heard.text, 1, heard.length, file) != heard.length || fclose(file) != 0)
            return 1;
        free(heard.text);
    }
    return 0;
}

int main(int count, char **arguments)
{
    static struct CMUnitTest tests[2 * MOST_FILES];
    if (chdir(TEST_ROOT "/tests/lang") != 0)
        return 1;
    if (count > 1 && strcmp(arguments[1], "write") == 0)
        return write_wants(count - 2, arguments + 2);
    size_t good = list("good", test_good, tests);
    size_t bad = list("bad", test_bad, tests + good);
    if (good == 0 || bad == 0)
        return 1;
    int failed = _cmocka_run_group_tests("lang", tests, good + bad, NULL, NULL);
    for (size_t i = 0; i < good + bad; i++)
        free(tests[i].initial_state);
    return failed != 0;
}

/* test_caselog.c: the case log: whole appends, names, tags, torn tails, locks, a full disk.
 *
 * The log is the tool's, not the library's: its sources are compiled in here.
 */
#define _XOPEN_SOURCE 700   /* realpath, nftw */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "src/caselog.c"
#include "src/files.c"
#include "src/term.c"
#include "src/text.c"

#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>

static char folder[] = "/tmp/ringlug-log-XXXXXX";
static char path[64];

static int begin(void **state)
{
    (void)state;
    strcpy(folder + strlen(folder) - 6, "XXXXXX");
    if (mkdtemp(folder) == NULL)
        return 1;
    snprintf(path, sizeof path, "%s/cases.case", folder);
    return 0;
}

static int end(void **state)
{
    (void)state;
    unlink(path);
    return rmdir(folder);   /* nothing else is left: no temporary file */
}

static char *content(size_t *length)
{
    char *bytes = NULL;
    if (file_read(path, 1 << 20, &bytes, length) != RL_OK)
        return NULL;
    bytes = tool_grow(bytes, *length + 1, 1);
    bytes[*length] = '\0';
    return bytes;
}

static void put(const char *bytes, size_t length)
{
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(bytes, 1, length, f), length);
    assert_int_equal(fclose(f), 0);
}

/* A tag made of a letter. */
static const char *tag_of(char letter)
{
    static char tag[2][CASELOG_TAG + 1];
    static int next;
    next = 1 - next;
    memset(tag[next], letter, CASELOG_TAG);
    return tag[next];
}

static caselog_result add(char letter, const char *name, caselog_note *note)
{
    text why = { 0 };
    const caselog_case c = { .tag = tag_of(letter), .name = name, .vehicle = "cart", .label = "a \"label\"",
                             .lines = "plate dim\nfound rear open\n" };
    *note = (caselog_note){ 0 };
    caselog_result result = caselog_append(path, &c, note, &why);
    assert_int_equal(result == CASELOG_FAILED, why.length > 0);
    text_free(&why);
    return result;
}

/* Appends a case that gets `want` as its name. */
static void add_as(char letter, const char *name, const char *want)
{
    caselog_note note;
    assert_int_equal(add(letter, name, &note), CASELOG_ADDED);
    assert_string_equal(text_get(&note.name), want);
    caselog_note_free(&note);
}

static size_t count(const char *whole, const char *part)
{
    size_t found = 0;
    for (const char *at = strstr(whole, part); at != NULL; at = strstr(at + 1, part))
        found++;
    return found;
}

static void is_whole(char letter, const char *name)
{
    text got = { 0 };
    assert_true(caselog_has(path, tag_of(letter), &got));
    assert_string_equal(text_get(&got), name);
    text_free(&got);
}

static void an_append_is_a_case_between_two_comments(void **state)
{
    (void)state;
    size_t length;
    add_as('a', "17", "17");
    char *bytes = content(&length);
    char *first = strchr(bytes, '\n');
    assert_non_null(first);
    assert_memory_equal(bytes, "# closed ", 9);
    assert_int_equal(first - bytes, 9 + 10 + 5 + CASELOG_TAG);   /* a day, " tag " */
    assert_string_equal(first, "\ncase \"17\" on cart \"a \\\"label\\\"\"\nplate dim\nfound rear open\n"
                               "# end aaaaaaaaaaaaaaaa\n");
    free(bytes);
    is_whole('a', "17");
    text none = { 0 };
    assert_false(caselog_has(path, tag_of('b'), &none));
    text_free(&none);
}

static void a_name_is_given_once(void **state)
{
    (void)state;
    static const char own[] = "case \"x\\\"y\" on cart\n\ncase \"x-11\" on cart\n";
    put(own, strlen(own));
    add_as('a', "x", "x");
    add_as('b', "x", "x-12");        /* above the highest */
    add_as('c', "x\"y", "x\"y-2");
    add_as('d', "x\"y", "x\"y-3");
    add_as('e', "x-1", "x-1");
    add_as('f', "z", "z");
    is_whole('c', "x\"y-2");
}

static void a_tag_is_in_the_log_once(void **state)
{
    (void)state;
    size_t length;
    caselog_note note;
    add_as('a', "17", "17");
    add_as('b', "17", "17-2");
    assert_int_equal(add('a', "17", &note), CASELOG_THERE);
    assert_string_equal(text_get(&note.name), "17");
    caselog_note_free(&note);
    char *bytes = content(&length);
    assert_int_equal(count(bytes, "\ncase "), 2);
    free(bytes);
}

/* Wherever a crash has cut an append off, the case before it stays, the next one is whole, what was
 * cut off is there as comments, and nothing else is. */
static void a_torn_tail_becomes_comments(void **state)
{
    (void)state;
    size_t before, whole, after;
    add_as('a', "first", "first");
    free(content(&before));
    add_as('b', "torn", "torn");
    char *bytes = content(&whole);
    for (size_t cut = before; cut <= whole; cut++) {
        caselog_note note;
        put(bytes, cut);
        assert_int_equal(add('b', "torn", &note), cut >= whole - 1 ? CASELOG_THERE : CASELOG_ADDED);
        char *now = content(&after);
        assert_memory_equal(now, bytes, before);
        assert_int_equal(count(now, "\n# end "), 2);
        is_whole('a', "first");
        is_whole('b', "torn");   /* a name in a torn tail is not taken */
        size_t torn = 0;
        for (size_t i = before; i < cut && note.torn > 0; i++)
            torn += bytes[i] == '\n' || i + 1 == cut;
        assert_int_equal(note.torn, torn);
        assert_int_equal(count(now, "\n# torn: "), torn);
        if (cut >= before + strlen("# closed ") && cut < whole - 1)
            assert_true(note.torn > 0);
        caselog_note_free(&note);
        free(now);
    }
    free(bytes);
}

/* Blocks that never reached the disk read as zeros. */
static void zeros_are_torn(void **state)
{
    (void)state;
    size_t length;
    caselog_note note;
    add_as('a', "17", "17");
    char *bytes = content(&length);
    bytes = tool_grow(bytes, length + 40, 1);
    memset(bytes + length, 0, 40);
    put(bytes, length + 40);
    assert_int_equal(add('b', "18", &note), CASELOG_ADDED);
    assert_int_equal(note.torn, 1);
    caselog_note_free(&note);
    memset(bytes + length - 50, 0, 20);   /* within the case that looks whole otherwise */
    put(bytes, length);
    free(bytes);
    assert_int_equal(add('a', "17", &note), CASELOG_ADDED);
    assert_true(note.torn > 0);
    caselog_note_free(&note);
    bytes = content(&length);
    assert_null(memchr(bytes, '\0', length));
    assert_int_equal(count(bytes, "\n# end aaaaaaaaaaaaaaaa\n"), 1);
    assert_int_equal(count(bytes, "\\x00"), 20);
    free(bytes);
}

static void what_people_wrote_stays(void **state)
{
    (void)state;
    size_t length;
    static const char own[] = "# our log\r\ncase \"1\" on wagon\r\nplate dim";   /* no line end */
    put(own, sizeof own - 1);
    caselog_note note;
    assert_int_equal(add('a', "1", &note), CASELOG_ADDED);
    assert_string_equal(text_get(&note.name), "1-2");
    assert_int_equal(note.torn, 0);
    assert_true(note.others);
    caselog_note_free(&note);
    char *bytes = content(&length);
    assert_memory_equal(bytes, own, sizeof own - 1);
    assert_memory_equal(bytes + sizeof own - 1, "\n# closed ", 10);
    free(bytes);
}

enum { WRITERS = 4, EACH = 12 };

static void write_many(int writer)
{
    char name[16];
    for (int i = 0; i < EACH; i++) {
        char tag[CASELOG_TAG + 1];
        caselog_note note = { 0 };
        text why = { 0 };
        snprintf(name, sizeof name, "%d", i);
        caselog_new_tag(tag);
        const caselog_case c = { .tag = tag, .name = name, .vehicle = "cart", .lines = "plate dim\n" };
        if (caselog_append(path, &c, &note, &why) != CASELOG_ADDED)
            _exit(1);
        caselog_note_free(&note);
    }
    _exit(writer < 0);
}

/* Torn at the start, so that one of the writers replaces the file under the others' feet. */
static void several_may_write_at_once(void **state)
{
    (void)state;
    size_t length;
    pid_t pid[WRITERS];
    static const char torn[] = "# closed 2031-05-17 tag 0123456789abcdef\ncase \"to";
    put(torn, sizeof torn - 1);
    for (int w = 0; w < WRITERS; w++) {
        pid[w] = fork();
        assert_true(pid[w] >= 0);
        if (pid[w] == 0)
            write_many(w);
    }
    for (int w = 0; w < WRITERS; w++) {
        int status;
        assert_int_equal(waitpid(pid[w], &status, 0), pid[w]);
        assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 0);
    }
    char *bytes = content(&length);
    assert_int_equal(count(bytes, "\n# end "), WRITERS * EACH);
    assert_int_equal(count(bytes, "\ncase "), WRITERS * EACH);
    assert_int_equal(count(bytes, "# torn: "), 2);
    for (int i = 0; i < EACH; i++)
        for (int w = 1; w <= WRITERS; w++) {   /* each name once, numbers without a gap */
            char want[40];
            if (w == 1)
                snprintf(want, sizeof want, "\ncase \"%d\" on", i);
            else
                snprintf(want, sizeof want, "\ncase \"%d-%d\" on", i, w);
            assert_int_equal(count(bytes, want), 1);
        }
    free(bytes);
}

/* A file may not grow past the limit: what a full disk does, byte by byte. */
static void a_full_disk_leaves_the_log_as_it_was(void **state)
{
    (void)state;
    size_t before, after;
    struct rlimit old, low;
    add_as('a', "first", "first");
    char *bytes = content(&before);
    signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &old), 0);
    for (size_t room = 0; room < 100; room += 7) {
        caselog_note note;
        low = old;
        low.rlim_cur = before + room;
        assert_int_equal(setrlimit(RLIMIT_FSIZE, &low), 0);
        assert_int_equal(add('b', "second", &note), CASELOG_FAILED);
        caselog_note_free(&note);
        char *now = content(&after);
        assert_int_equal(after, before);
        assert_memory_equal(now, bytes, before);
        free(now);
    }
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &old), 0);
    free(bytes);
    add_as('b', "second", "second");
}

static void what_is_no_file_is_refused(void **state)
{
    (void)state;
    text why = { 0 };
    caselog_note note = { 0 };
    const caselog_case c = { .tag = tag_of('a'), .name = "1", .vehicle = "cart", .lines = "" };
    assert_int_equal(caselog_append("/dev/full", &c, &note, &why), CASELOG_FAILED);
    assert_string_equal(text_get(&why), "cannot write the case log /dev/full: it is no ordinary file");
    text_clear(&why);
    assert_int_equal(caselog_append(folder, &c, &note, &why), CASELOG_FAILED);
    text_free(&why);
    caselog_note_free(&note);
}

static void the_place_is_looked_for_in_order(void **state)
{
    (void)state;
    text log = { 0 }, why = { 0 };
    char want[96];
    setenv("HOME", folder, 1);
    setenv("XDG_DATA_HOME", folder, 1);
    setenv("RINGLUG_LOG", "club.case", 1);
    assert_true(caselog_place("named.case", &log, &why));
    assert_string_equal(text_get(&log), "named.case");
    text_clear(&log);
    assert_true(caselog_place(NULL, &log, &why));
    assert_string_equal(text_get(&log), "club.case");
    text_clear(&log);
    unsetenv("RINGLUG_LOG");
    assert_true(caselog_place(NULL, &log, &why));
    snprintf(want, sizeof want, "%s/ringlug/cases.case", folder);
    assert_string_equal(text_get(&log), want);
    snprintf(want, sizeof want, "%s/ringlug", folder);
    assert_int_equal(rmdir(want), 0);   /* it was made */
    text_clear(&log);
    unsetenv("XDG_DATA_HOME");
    unsetenv("HOME");
    assert_false(caselog_place(NULL, &log, &why));
    assert_true(why.length > 0);
    text_free(&log);
    text_free(&why);
}

static void tags_differ(void **state)
{
    (void)state;
    char one[CASELOG_TAG + 1], other[CASELOG_TAG + 1];
    caselog_new_tag(one);
    caselog_new_tag(other);
    assert_string_not_equal(one, other);
    /* FNV-1a of 64 bits: the published values of "" and "a". */
    caselog_tag_of("", 0, one);
    assert_string_equal(one, "cbf29ce484222325");
    caselog_tag_of("a", 1, one);
    assert_string_equal(one, "af63dc4c8601ec8c");
}

#define LOG_TEST(test) cmocka_unit_test_setup_teardown(test, begin, end)

int main(void)
{
    const struct CMUnitTest tests[] = {
        LOG_TEST(an_append_is_a_case_between_two_comments),
        LOG_TEST(a_name_is_given_once),
        LOG_TEST(a_tag_is_in_the_log_once),
        LOG_TEST(a_torn_tail_becomes_comments),
        LOG_TEST(zeros_are_torn),
        LOG_TEST(what_people_wrote_stays),
        LOG_TEST(several_may_write_at_once),
        LOG_TEST(a_full_disk_leaves_the_log_as_it_was),
        LOG_TEST(what_is_no_file_is_refused),
        LOG_TEST(the_place_is_looked_for_in_order),
        LOG_TEST(tags_differ),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}

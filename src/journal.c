/* journal.c: the prompt's journal.
 *
 * A record is one line: checksum, length, text.  Invariants: each append
 * begins on a fresh line, so that a torn last line cannot swallow it; a line
 * whose checksum or length is wrong is not believed; a journal that is open
 * is locked, so that two prompts never write to one.
 */
#include "journal.h"

#include "files.h"

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { SLOTS = 32, MOST_BYTES = 1 << 26, LONGEST_NAME = 160 };

/* The folder and first part of the name of the journals for these rules. */
static bool stem_in_state(const char *rules, text *stem, text *why)
{
    const char *state = getenv("XDG_STATE_HOME"), *home = getenv("HOME");
    if (state != NULL && state[0] == '/')
        text_add(stem, "%s/ringlug", state);
    else if (home != NULL && home[0] == '/')
        text_add(stem, "%s/.local/state/ringlug", home);
    else {
        text_add(why, "there is no place for the journal: set HOME or XDG_STATE_HOME");
        return false;
    }
    if (!file_make_folders(stem->bytes)) {
        text_add(why, "cannot make %s, the folder of the journal: %s", text_get(stem), strerror(errno));
        return false;
    }
    char *real = file_real(rules);
    const char *name = real != NULL ? real : rules;
    text_add(stem, "/%.*s-%08x", LONGEST_NAME, file_name(name), (unsigned)text_checksum(name, strlen(name)));
    free(real);
    return true;
}

static bool lock(int fd)
{
    struct flock whole = { .l_type = F_WRLCK, .l_whence = SEEK_SET };
    return fcntl(fd, F_SETLK, &whole) == 0;
}

typedef enum slot { SLOT_OURS, SLOT_BUSY, SLOT_LEFT, SLOT_NONE, SLOT_FAILED } slot;

/* Tries one path: a journal that is unlocked and holds nothing becomes ours.
 * Without `make` a path where nothing is stays so. */
static slot try_slot(const char *path, bool make, int *fd)
{
    *fd = open(path, O_RDWR | (make ? O_CREAT : 0) | O_APPEND | O_CLOEXEC | O_NOFOLLOW, 0600);
    if (*fd < 0)
        return !make && errno == ENOENT ? SLOT_NONE : SLOT_FAILED;
    struct stat about;
    if (!lock(*fd) || fstat(*fd, &about) != 0 || about.st_nlink == 0) {  /* no link: its owner has just removed it */
        close(*fd);
        return SLOT_BUSY;
    }
    text_list records = { 0 };
    size_t bad = 0;
    bool empty = about.st_size == 0 || (journal_read(path, &records, &bad) && records.count == 0 && bad == 0);
    list_free(&records);
    if (!empty) {
        close(*fd);
        return SLOT_LEFT;
    }
    /* Reading closed a second descriptor, which drops a lock: take it again. */
    return lock(*fd) && ftruncate(*fd, 0) == 0 ? SLOT_OURS : SLOT_FAILED;
}

static void slot_path(text *path, const text *stem, int number)
{
    text_clear(path);
    text_add(path, number == 1 ? "%s.journal" : "%s.%d.journal", text_get(stem), number);
}

/* The first journal that was left, or NULL. */
static char *find_left(const text *stem)
{
    text path = { 0 };
    char *left = NULL;
    for (int i = 1; i <= SLOTS && left == NULL; i++) {
        int fd = -1;
        slot_path(&path, stem, i);
        slot got = try_slot(path.bytes, false, &fd);
        if (got == SLOT_OURS)
            close(fd);
        if (got == SLOT_LEFT)
            left = tool_copy(path.bytes, path.length);
    }
    text_free(&path);
    return left;
}

static bool open_at(journal *j, const text *stem, char **left, text *why)
{
    text path = { 0 };
    *left = find_left(stem);
    slot got = SLOT_BUSY;
    for (int i = 1; i <= SLOTS && (got == SLOT_BUSY || got == SLOT_LEFT); i++) {
        slot_path(&path, stem, i);
        got = try_slot(path.bytes, true, &j->fd);
    }
    if (got == SLOT_OURS) {
        j->path = tool_copy(path.bytes, path.length);
        file_sync_folder(j->path);
    } else if (got == SLOT_FAILED) {
        text_add(why, "cannot open the journal %s: %s", text_get(&path), strerror(errno));
    } else {
        text_add(why, "too many journals are kept beside %s", text_get(&path));
    }
    if (got != SLOT_OURS) {
        free(*left);
        *left = NULL;
        j->fd = -1;
    }
    text_free(&path);
    return got == SLOT_OURS;
}

bool journal_open(journal *j, const char *rules, const char *case_file, char **left, text *why)
{
    text stem = { 0 }, beside = { 0 };
    bool good = false;
    *j = (journal){ .fd = -1 };
    *left = NULL;
    if (case_file != NULL) {
        text_add(&stem, "%s", case_file);
        good = open_at(j, &stem, left, &beside);
        text_clear(&stem);
    }
    /* Beside the case file is the first choice; it may lie where nothing can be written. */
    if (!good)
        good = stem_in_state(case_file != NULL ? case_file : rules, &stem, why) && open_at(j, &stem, left, why);
    if (!good && case_file != NULL) {
        text_clear(why);
        text_add(why, "%s", text_get(&beside));
    }
    text_free(&stem);
    text_free(&beside);
    return good;
}

bool journal_add(journal *j, const char *record)
{
    assert(j->fd >= 0 && strchr(record, '\n') == NULL);   /* a record is one line */
    text line = { 0 };
    size_t length = strlen(record);
    text_add(&line, "\n%08x %zu %s\n", (unsigned)text_checksum(record, length), length, record);
    bool good = file_put(j->fd, line.bytes, line.length) && fsync(j->fd) == 0;
    text_free(&line);
    return good;
}

/* The text of a record, or NULL if the line is not whole. */
static const char *record_of(const char *line, size_t length)
{
    char *end;
    unsigned long sum = strtoul(line, &end, 16);
    if (end != line + 8 || *end != ' ')
        return NULL;
    unsigned long long said = strtoull(end + 1, &end, 10);
    if (*end != ' ' || (size_t)(end + 1 - line) > length || said != length - (size_t)(end + 1 - line))
        return NULL;
    return text_checksum(end + 1, (size_t)said) == sum ? end + 1 : NULL;
}

bool journal_read(const char *path, text_list *records, size_t *bad)
{
    char *bytes;
    size_t length;
    if (file_read(path, MOST_BYTES, &bytes, &length) != RL_OK)
        return false;
    for (size_t at = 0; at < length;) {
        const char *end = memchr(bytes + at, '\n', length - at);
        size_t n = end != NULL ? (size_t)(end - bytes) - at : length - at;
        char *line = tool_copy(bytes + at, n);
        const char *record = n > 0 ? record_of(line, n) : NULL;
        if (record != NULL)
            list_add(records, record);
        else if (n > 0)
            ++*bad;
        free(line);
        at += n + 1;
    }
    free(bytes);
    return true;
}

bool journal_finish(journal *j)
{
    bool good = j->fd < 0 || (ftruncate(j->fd, 0) == 0 && unlink(j->path) == 0);
    journal_leave(j);
    return good;
}

void journal_leave(journal *j)
{
    if (j->fd >= 0)
        close(j->fd);
    free(j->path);
    *j = (journal){ .fd = -1 };
}

bool journal_put_aside(const char *left, char **aside)
{
    text name = { 0 };
    for (unsigned i = 1; i < 1000; i++) {
        text_clear(&name);
        text_add(&name, "%s.old%u", left, i);
        if (link(left, name.bytes) == 0) {
            *aside = tool_copy(name.bytes, name.length);
            text_free(&name);
            return unlink(left) == 0;
        }
        if (errno != EEXIST)
            break;
    }
    text_free(&name);
    return false;
}

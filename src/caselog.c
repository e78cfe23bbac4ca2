/* caselog.c: the club's case log.  Invariants: see caselog.h. */
#include "caselog.h"

#include "files.h"
#include "term.h"

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { LOG_BYTES = 1 << 28, TRIES = 200, PAUSE = 50000000 };   /* tries to lock, with nanoseconds between */

static const char closed[] = "# closed ", tagged[] = " tag ", ended[] = "# end ", torn_mark[] = "# torn: ";

/* ---- tags ---- */

void caselog_tag_of(const char *bytes, size_t length, char tag[CASELOG_TAG + 1])
{
    uint64_t hash = 0xcbf29ce484222325u;   /* FNV-1a */
    for (size_t i = 0; i < length; i++)
        hash = (hash ^ (unsigned char)bytes[i]) * 0x100000001b3u;
    snprintf(tag, CASELOG_TAG + 1, "%016llx", (unsigned long long)hash);
}

void caselog_new_tag(char tag[CASELOG_TAG + 1])
{
    struct { unsigned char drawn[16]; struct timespec now; pid_t pid; } seed;
    memset(&seed, 0, sizeof seed);
    int fd = open("/dev/urandom", O_RDONLY | O_CLOEXEC);
    if (fd >= 0) {
        if (read(fd, seed.drawn, sizeof seed.drawn) < 0)
            seed.drawn[0] = 1;   /* clock and process have to do */
        close(fd);
    }
    clock_gettime(CLOCK_REALTIME, &seed.now);
    seed.pid = getpid();
    caselog_tag_of((const char *)&seed, sizeof seed, tag);
}

/* ---- reading what is there ---- */

typedef struct line { const char *at; size_t length; } line;

/* The line that begins at *from; moves *from behind it.  False at the end. */
static bool next_line(const char *bytes, size_t length, size_t *from, line *out)
{
    if (*from >= length)
        return false;
    const char *end = memchr(bytes + *from, '\n', length - *from);
    out->at = bytes + *from;
    out->length = end != NULL ? (size_t)(end - out->at) : length - *from;
    *from += out->length + (end != NULL);
    if (out->length > 0 && out->at[out->length - 1] == '\r')
        out->length--;
    return true;
}

static bool starts(const line *l, const char *with)
{
    size_t n = strlen(with);
    return l->length >= n && memcmp(l->at, with, n) == 0;
}

/* The tag of a first or last line of a case, or NULL. */
static const char *tag_in(const line *l)
{
    if (starts(l, ended) && l->length == sizeof ended - 1 + CASELOG_TAG)
        return l->at + sizeof ended - 1;
    size_t n = sizeof tagged - 1 + CASELOG_TAG;
    if (!starts(l, closed) || l->length < sizeof closed - 1 + n)
        return NULL;
    const char *tag = l->at + l->length - n;
    return memcmp(tag, tagged, sizeof tagged - 1) == 0 ? tag + sizeof tagged - 1 : NULL;
}

/* The content of the string behind `case`, its escapes undone; returns where the line goes on behind it. */
static size_t put_name(text *out, const line *l)
{
    size_t i = strlen("case \"");
    text_clear(out);
    for (; i < l->length && l->at[i] != '"'; i++) {
        i += l->at[i] == '\\' && i + 1 < l->length;
        text_put(out, l->at + i, 1);
    }
    return i < l->length ? i + 1 : i;
}

/* What a log holds, as far as an append has to know. */
typedef struct survey {
    size_t torn_from;       /* where a torn tail begins; the length: there is none */
    bool there;             /* a whole case of the tag */
    text there_name;
    bool taken;             /* the wanted name is */
    unsigned long number;   /* the highest that follows the wanted name */
    bool others;            /* cases of another vehicle */
} survey;

static void put_string(text *out, const char *string)
{
    text_add(out, "\"");
    for (; *string != '\0'; string++)
        text_add(out, *string == '"' || *string == '\\' ? "\\%c" : "%c", *string);
    text_add(out, "\"");
}

/* Looks at a `case` line for the wanted name and for the vehicle. */
static void survey_case(survey *s, const line *l, const caselog_case *c)
{
    text name = { 0 }, on = { 0 };
    size_t behind = put_name(&name, l), n = strlen(c->name);
    const char *said = text_get(&name);
    char *end = NULL;
    text_add(&on, " on %s", c->vehicle);
    size_t after = behind + on.length;
    s->others = s->others || after > l->length || memcmp(l->at + behind, on.bytes, on.length) != 0
                || (after < l->length && l->at[after] != ' ');
    s->taken = s->taken || strcmp(said, c->name) == 0;
    if (strncmp(said, c->name, n) == 0 && said[n] == '-' && said[n + 1] >= '1' && said[n + 1] <= '9') {
        unsigned long number = strtoul(said + n + 1, &end, 10);
        if (*end == '\0' && number > s->number)
            s->number = number;
    }
    text_free(&name);
    text_free(&on);
}

/* The case whose `case` line was met last stands, and is not of a torn tail. */
static void settle(survey *s, line *name, const caselog_case *c)
{
    if (name->at != NULL)
        survey_case(s, name, c);
    name->at = NULL;
}

/* A whole case ends; `name` is its `case` line. */
static void survey_end(survey *s, const char *tag, line *name, const caselog_case *c)
{
    if (memcmp(tag, c->tag, CASELOG_TAG) == 0 && name->at != NULL) {
        s->there = true;
        put_name(&s->there_name, name);
    }
    settle(s, name, c);
}

/* A tail is torn from a first line without its last one on, or from a line with zeros in it: what a
 * crash leaves.  What stands before a later first line is somebody's own work. */
static void survey_log(survey *s, const char *bytes, size_t length, const caselog_case *c)
{
    line l, name = { 0 };
    size_t at = 0, begin = 0, open = SIZE_MAX;
    const char *tag = NULL;
    for (; next_line(bytes, length, &at, &l); begin = at) {
        const char *found = tag_in(&l);
        bool zeros = memchr(l.at, '\0', l.length) != NULL;
        if (starts(&l, closed) || (zeros && open == SIZE_MAX)) {
            settle(s, &name, c);
            open = begin;
            tag = zeros ? NULL : found;
        } else if (zeros) {
            tag = NULL;
        } else if (tag != NULL && found != NULL && memcmp(found, tag, CASELOG_TAG) == 0) {
            survey_end(s, tag, &name, c);
            open = SIZE_MAX;
            tag = NULL;
        }
        if (starts(&l, "case \"")) {
            settle(s, &name, c);
            name = l;
        }
    }
    if (open == SIZE_MAX)
        settle(s, &name, c);
    s->torn_from = open == SIZE_MAX ? length : open;
}

/* ---- the lock ---- */

static bool is_at(int fd, const char *path)
{
    struct stat held, named;
    return fstat(fd, &held) == 0 && stat(path, &named) == 0 && held.st_dev == named.st_dev
           && held.st_ino == named.st_ino;
}

/* Opens and locks; a log that was replaced while we waited is opened anew.  -1, errno set: failed. */
static int open_locked(const char *path)
{
    struct flock whole = { .l_type = F_WRLCK, .l_whence = SEEK_SET };
    struct timespec pause = { .tv_nsec = PAUSE };
    for (int i = 0; i < TRIES; i++) {
        int fd = open(path, O_RDWR | O_CREAT | O_APPEND | O_CLOEXEC | O_NONBLOCK, 0666);
        if (fd < 0)
            return -1;
        if (fcntl(fd, F_SETLK, &whole) == 0) {
            if (is_at(fd, path))
                return fd;
        } else if (errno != EACCES && errno != EAGAIN) {
            int why = errno;
            close(fd);
            errno = why;
            return -1;
        }
        close(fd);
        nanosleep(&pause, NULL);
    }
    errno = EBUSY;
    return -1;
}

/* The whole file, by the locked descriptor: opening it a second time would drop the lock. */
static bool read_locked(int fd, char **bytes, size_t *length)
{
    struct stat about;
    if (fstat(fd, &about) != 0)
        return false;
    if (!S_ISREG(about.st_mode) || about.st_size > LOG_BYTES) {
        errno = S_ISREG(about.st_mode) ? EFBIG : EINVAL;
        return false;
    }
    *bytes = tool_take((size_t)about.st_size + 1);
    *length = 0;
    while (*length < (size_t)about.st_size) {
        ssize_t got = pread(fd, *bytes + *length, (size_t)about.st_size - *length, (off_t)*length);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return false;
        if (got == 0)
            break;
        *length += (size_t)got;
    }
    return true;
}

/* ---- writing ---- */

static void put_case(text *out, const caselog_case *c, const char *name)
{
    assert(strchr(name, '\n') == NULL);   /* a string of the language stands on one line */
    char day[16] = "";
    time_t now = time(NULL);
    struct tm parts;
    if (localtime_r(&now, &parts) != NULL)
        strftime(day, sizeof day, "%Y-%m-%d", &parts);
    text_add(out, "%s%s%s%s\ncase ", closed, day, tagged, c->tag);
    put_string(out, name);
    text_add(out, " on %s", c->vehicle);
    if (c->label != NULL) {
        text_add(out, " ");
        put_string(out, c->label);
    }
    text_add(out, "\n%s%s%s\n", c->lines, ended, c->tag);
}

/* Each line of a torn tail as a comment; bytes that may not stand in a text are shown as \xNN. */
static size_t put_torn(text *out, const char *bytes, size_t length)
{
    line l;
    size_t at = 0, lines = 0;
    while (next_line(bytes, length, &at, &l)) {
        text_add(out, "%s", torn_mark);
        for (size_t i = 0; i < l.length;)
            i += term_safe_one(out, l.at + i, l.length - i);
        text_add(out, "\n");
        lines++;
    }
    return lines;
}

/* Appends at the end, or leaves the file as long as it was. */
static bool append(int fd, size_t length, const text *added)
{
    assert(added->length > 0);
    char *check = tool_take(added->length + 1);
    bool good = file_put(fd, added->bytes, added->length) && fsync(fd) == 0;
    if (good) {
        ssize_t got = pread(fd, check, added->length, (off_t)length);
        good = got == (ssize_t)added->length && memcmp(check, added->bytes, added->length) == 0;
        errno = good ? 0 : EIO;
    }
    if (!good) {
        int why = errno;
        if (ftruncate(fd, (off_t)length) == 0)
            fsync(fd);
        errno = why;
    }
    free(check);
    return good;
}

/* A torn tail becomes comments: the file is written anew beside the old one, which stays till then. */
static bool mend(const char *path, const char *bytes, const survey *s, size_t length, const text *added, size_t *torn)
{
    text whole = { 0 };
    text_put(&whole, bytes, s->torn_from);
    *torn = put_torn(&whole, bytes + s->torn_from, length - s->torn_from);
    text_put(&whole, added->bytes, added->length);
    bool good = file_write(path, whole.bytes, whole.length);
    text_free(&whole);
    return good;
}

static bool add_case(int fd, const char *path, const char *bytes, size_t length, const survey *s,
                     const caselog_case *c, caselog_note *note)
{
    text added = { 0 };
    bool torn = s->torn_from < length;
    assert(s->torn_from <= length && !s->there);
    if (!torn && length > 0 && bytes[length - 1] != '\n')
        text_add(&added, "\n");
    text_add(&note->name, "%s", c->name);
    if (s->taken)
        text_add(&note->name, "-%lu", s->number < 2 ? 2 : s->number + 1);
    put_case(&added, c, text_get(&note->name));
    bool good = torn ? mend(path, bytes, s, length, &added, &note->torn) : append(fd, length, &added);
    if (good && length == 0)
        file_sync_folder(path);
    text_free(&added);
    return good;
}

caselog_result caselog_append(const char *path, const caselog_case *c, caselog_note *note, text *why)
{
    assert(strlen(c->tag) == CASELOG_TAG);
    char *bytes = NULL;
    size_t length = 0;
    survey s = { 0 };
    caselog_result result = CASELOG_FAILED;
    int fd = open_locked(path);
    if (fd >= 0 && read_locked(fd, &bytes, &length)) {
        survey_log(&s, bytes, length, c);
        note->others = s.others;
        if (s.there) {
            text_add(&note->name, "%s", text_get(&s.there_name));
            result = CASELOG_THERE;
        } else if (add_case(fd, path, bytes, length, &s, c, note)) {
            result = CASELOG_ADDED;
        }
    }
    if (result == CASELOG_FAILED)
        text_add(why, "cannot write the case log %s: %s", path,
                 errno == EBUSY ? "somebody else is writing it"
                 : errno == EINVAL ? "it is no ordinary file" : strerror(errno));
    if (fd >= 0)
        close(fd);
    text_free(&s.there_name);
    free(bytes);
    return result;
}

bool caselog_has(const char *path, const char *tag, text *name)
{
    char *bytes = NULL;
    size_t length = 0;
    survey s = { 0 };
    const caselog_case c = { .tag = tag, .name = "", .vehicle = "", .lines = "" };
    if (strlen(tag) != CASELOG_TAG || file_read(path, LOG_BYTES, &bytes, &length) != RL_OK)
        return false;
    survey_log(&s, bytes, length, &c);
    text_add(name, "%s", text_get(&s.there_name));
    text_free(&s.there_name);
    free(bytes);
    return s.there;
}

bool caselog_place(const char *option, text *path, text *why)
{
    const char *named = option != NULL ? option : getenv("RINGLUG_LOG");
    const char *data = getenv("XDG_DATA_HOME"), *home = getenv("HOME");
    if (named != NULL && named[0] != '\0') {
        text_add(path, "%s", named);
        return true;
    }
    if (data != NULL && data[0] == '/')
        text_add(path, "%s/ringlug", data);
    else if (home != NULL && home[0] == '/')
        text_add(path, "%s/.local/share/ringlug", home);
    else {
        text_add(why, "there is no place for the case log: set HOME, or name a file by --log");
        return false;
    }
    if (!file_make_folders(path->bytes)) {
        text_add(why, "cannot make %s, the folder of the case log: %s", text_get(path), strerror(errno));
        return false;
    }
    text_add(path, "/cases.case");
    return true;
}

void caselog_note_free(caselog_note *note)
{
    text_free(&note->name);
    *note = (caselog_note){ 0 };
}

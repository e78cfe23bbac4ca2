/* files.c: reading and writing files.
 *
 * Invariants: an included file is read only if its real path lies in a folder
 * that was allowed (a symbolic link cannot lead out of it); a file that is
 * written is at every moment either wholly old or wholly new.
 */
#ifndef _XOPEN_SOURCE
#define _XOPEN_SOURCE 700   /* realpath */
#endif
#include "files.h"

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* One byte more than the engine takes: it says itself that a file is too large. */
enum { MOST_BYTES = 1 << 28 };

char *file_real(const char *path)
{
    return realpath(path, NULL);
}

char *file_folder(const char *path)
{
    const char *slash = strrchr(path, '/');
    if (slash == NULL)
        return tool_copy(".", 1);
    return tool_copy(path, slash == path ? 1 : (size_t)(slash - path));
}

const char *file_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash != NULL ? slash + 1 : path;
}

void folders_allow(folders *f, const char *folder)
{
    char *real = file_real(folder);
    if (real != NULL)
        list_add_new(&f->root, real);
    free(real);
}

void folders_ask(folders *f, const char *path)
{
    list_add_new(&f->asked, path);
    char *folder = file_folder(path);
    folders_allow(f, folder);
    free(folder);
}

void folders_free(folders *f)
{
    list_free(&f->asked);
    list_free(&f->root);
}

static bool lies_in(const char *path, const char *folder)
{
    assert(path[0] == '/' && folder[0] == '/');   /* real paths */
    size_t n = strlen(folder);
    if (strcmp(folder, "/") == 0)
        return path[0] == '/';
    return strncmp(path, folder, n) == 0 && path[n] == '/';
}

static bool was_asked(const folders *f, const char *path)
{
    for (size_t i = 0; i < f->asked.count; i++)
        if (strcmp(f->asked.item[i], path) == 0)
            return true;
    return false;
}

static rl_status status_of_errno(void)
{
    if (errno == ENOMEM)
        return RL_MEMORY;
    return errno == ENOENT || errno == ENOTDIR ? RL_MISSING : RL_REFUSED;
}

static rl_status read_all(int fd, size_t most, char **bytes, size_t *length)
{
    size_t room = 1 << 16, have = 0;
    char *buffer = malloc(room);
    while (buffer != NULL && have <= most) {
        if (have == room) {
            room *= 2;
            char *grown = realloc(buffer, room);
            if (grown == NULL)
                free(buffer);
            buffer = grown;
            continue;
        }
        size_t want = room - have < most + 1 - have ? room - have : most + 1 - have;
        ssize_t got = want > 0 ? read(fd, buffer + have, want) : 0;
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0) {
            free(buffer);
            return RL_REFUSED;
        }
        if (got == 0)
            break;
        have += (size_t)got;
    }
    if (buffer == NULL)
        return RL_MEMORY;
    *bytes = buffer;
    *length = have;
    return RL_OK;
}

/* `only_regular`: an include must not hang on a pipe or read a device. */
static rl_status read_path(const char *path, bool only_regular, size_t most, char **bytes, size_t *length)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC | (only_regular ? O_NOFOLLOW | O_NONBLOCK : 0));
    if (fd < 0)
        return status_of_errno();
    struct stat about;
    rl_status status = RL_REFUSED;
    if (fstat(fd, &about) != 0)
        status = RL_REFUSED;
    else if (S_ISDIR(about.st_mode))
        status = RL_FOLDER;
    else if (S_ISREG(about.st_mode) || !only_regular)
        status = read_all(fd, most, bytes, length);
    close(fd);
    return status;
}

rl_status file_read(const char *path, size_t most, char **bytes, size_t *length)
{
    return read_path(path, false, most, bytes, length);
}

static rl_status load(void *user, const char *path, char **bytes, size_t *length)
{
    const folders *f = user;
    if (was_asked(f, path))
        return read_path(path, false, MOST_BYTES, bytes, length);
    char *real = file_real(path);
    if (real == NULL)
        return status_of_errno();
    rl_status status = RL_REFUSED;
    for (size_t i = 0; i < f->root.count && status == RL_REFUSED; i++)
        if (lies_in(real, f->root.item[i])) {
            status = read_path(real, true, MOST_BYTES, bytes, length);
            break;
        }
    free(real);
    return status;
}

static void release(void *user, char *bytes)
{
    (void)user;
    free(bytes);
}

rl_loader folders_loader(folders *f)
{
    return (rl_loader){ .read = load, .release = release, .user = f };
}

bool file_put(int fd, const char *bytes, size_t length)
{
    assert(fd >= 0);
    while (length > 0) {
        ssize_t put = write(fd, bytes, length);
        if (put < 0 && errno == EINTR)
            continue;
        if (put <= 0)
            return false;
        bytes += put;
        length -= (size_t)put;
    }
    return true;
}

bool file_sync_folder(const char *path)
{
    char *folder = file_folder(path);
    int fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    free(folder);
    if (fd < 0)
        return false;
    /* Some file systems cannot sync a folder and say EINVAL: nothing is lost by that. */
    bool good = fsync(fd) == 0 || errno == EINVAL;
    close(fd);
    return good;
}

static bool fill_and_close(int fd, const char *path, const char *bytes, size_t length)
{
    struct stat about;
    bool good = true;
    if (stat(path, &about) == 0)
        good = fchmod(fd, about.st_mode & 0777) == 0;
    else {
        mode_t mask = umask(0);
        umask(mask);
        good = fchmod(fd, 0666 & ~mask) == 0;
    }
    good = good && file_put(fd, bytes, length) && fsync(fd) == 0;
    int why = errno;
    if (close(fd) != 0)
        return false;
    errno = why;
    return good;
}

bool file_write(const char *path, const char *bytes, size_t length)
{
    char *real = file_real(path);   /* a link stays a link: what it points at is replaced */
    const char *target = real != NULL ? real : path;
    text temporary = { 0 };
    text_add(&temporary, "%s.XXXXXX", target);
    int fd = mkstemp(temporary.bytes);
    bool good = fd >= 0 && fill_and_close(fd, target, bytes, length)
                && rename(temporary.bytes, target) == 0;
    int why = errno;
    if (fd >= 0 && !good)
        unlink(temporary.bytes);
    good = good && file_sync_folder(target);
    if (!good && fd >= 0 && why != 0)
        errno = why;
    text_free(&temporary);
    free(real);
    return good;
}

bool file_make_folders(const char *folder)
{
    assert(folder[0] != '\0');
    char *path = tool_copy(folder, strlen(folder));
    bool good = true;
    for (char *slash = strchr(path + 1, '/'); slash != NULL; slash = strchr(slash + 1, '/')) {
        *slash = '\0';
        good = mkdir(path, 0700) == 0 || errno == EEXIST;
        *slash = '/';
        if (!good)
            break;
    }
    good = good && (mkdir(path, 0700) == 0 || errno == EEXIST);
    free(path);
    return good;
}

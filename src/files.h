/* files.h: reading files, and writing them so that a crash loses nothing. */
#ifndef FILES_H
#define FILES_H

#include "ringlug.h"
#include "text.h"

#include <stdbool.h>

/* Where includes may be read from: the folders of the files that were asked
 * for by name, and the installed rules folder. */
typedef struct folders {
    text_list asked;     /* paths as given: always allowed */
    text_list root;      /* real paths of folders */
} folders;

/* Allows `path`, given by the user, and includes from its folder. */
void folders_ask(folders *f, const char *path);
/* Allows includes from `folder`. */
void folders_allow(folders *f, const char *folder);
void folders_free(folders *f);
/* The loader that keeps to them; `f` must outlive it. */
rl_loader folders_loader(folders *f);

/* Reads a whole file, at most `most` bytes and one more. */
rl_status file_read(const char *path, size_t most, char **bytes, size_t *length);
/* Writes a file safely: a temporary one beside it, fsync, rename, fsync of
 * the folder.  A file that is there keeps its permissions, a symbolic link
 * its place.  False, with errno set, if anything fails; the old file is whole then. */
bool file_write(const char *path, const char *bytes, size_t length);
/* Writes all bytes to a descriptor. */
bool file_put(int fd, const char *bytes, size_t length);
/* fsync of the folder that `path` lies in. */
bool file_sync_folder(const char *path);
/* Makes `folder` and those above it, for the user alone. */
bool file_make_folders(const char *folder);
/* The folder of a path ("." if none is named) and its last part. */
char *file_folder(const char *path);
const char *file_name(const char *path);
/* The real path, or NULL.  To be freed. */
char *file_real(const char *path);

#endif

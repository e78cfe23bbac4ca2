/* run.c: running the tool in a test.  Invariant: see run.h. */
#ifndef _XOPEN_SOURCE
#define _XOPEN_SOURCE 700   /* posix_openpt, nftw */
#endif
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "run.h"

#include <errno.h>
#include <fcntl.h>
#include <ftw.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

static char folder[64];

const char *run_folder(void)
{
    return folder;
}

const char *run_path(const char *name)
{
    static char path[4][256];
    static int next;
    next = (next + 1) % 4;
    snprintf(path[next], sizeof path[next], "%s/%s", folder, name);
    return path[next];
}

const char *run_data(const char *name)
{
    static char path[4][512];
    static int next;
    next = (next + 1) % 4;
    snprintf(path[next], sizeof path[next], "%s/tests/data/cli/%s", TEST_ROOT, name);
    return path[next];
}

const char *run_file(const char *name, const char *content)
{
    const char *path = run_path(name);
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(content, 1, strlen(content), f), strlen(content));
    assert_int_equal(fclose(f), 0);
    return path;
}

/* Reads a descriptor to its end. */
static char *drain(int fd, size_t *length)
{
    size_t room = 4096;
    char *bytes = malloc(room + 1);
    *length = 0;
    for (ssize_t got = 1; got > 0; *length += (size_t)got) {
        if (*length == room)
            bytes = realloc(bytes, (room *= 2) + 1);
        got = read(fd, bytes + *length, room - *length);
        if (got <= 0)
            break;
    }
    bytes[*length] = '\0';
    return bytes;
}

char *run_content(const char *path)
{
    int fd = open(path, O_RDONLY);
    size_t length;
    if (fd < 0)
        return NULL;
    char *content = drain(fd, &length);
    close(fd);
    return content;
}

int run_setup(void **state)
{
    (void)state;
    signal(SIGPIPE, SIG_IGN);
    strcpy(folder, "/tmp/ringlug-test-XXXXXX");
    return mkdtemp(folder) == NULL;
}

static int remove_one(const char *path, const struct stat *about, int type, struct FTW *where)
{
    (void)about;
    (void)type;
    (void)where;
    return remove(path);
}

int run_teardown(void **state)
{
    (void)state;
    return nftw(folder, remove_one, 8, FTW_DEPTH | FTW_PHYS);
}

/* In the child: the environment, then the tool. */
static void become_tool(char **argv)
{
    setenv("HOME", folder, 1);
    setenv("XDG_STATE_HOME", folder, 1);
    setenv("RINGLUG_RULES", TEST_ROOT "/rules", 1);
    setenv("LC_ALL", "C.UTF-8", 1);
    setenv("TERM", "xterm", 1);
    unsetenv("NO_COLOR");
    const char *patience = getenv("TEST_PATIENCE");   /* seconds; more of them under sanitizers */
    alarm(patience == NULL ? RUN_PATIENCE : (unsigned)atoi(patience));   /* survives exec: a tool that hangs is ended */
    execv(TEST_TOOL, argv);
    _exit(127);
}

static void collect(char **argv, const char *first, va_list list)
{
    int count = 0;
    argv[count++] = (char *)(uintptr_t)TEST_TOOL;
    for (const char *word = first; word != NULL && count < RUN_ARGUMENTS; word = va_arg(list, const char *))
        argv[count++] = (char *)(uintptr_t)word;
    argv[count] = NULL;
}

static int wait_for(pid_t pid)
{
    int status;
    while (waitpid(pid, &status, 0) < 0)
        assert_int_equal(errno, EINTR);
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

/* Temporary files instead of pipes: nothing can fill up. */
static int scratch(const char *content)
{
    char name[] = "/tmp/ringlug-scratch-XXXXXX";
    int fd = mkstemp(name);
    assert_true(fd >= 0);
    unlink(name);
    size_t length = strlen(content);
    assert_int_equal(write(fd, content, length), length);
    assert_int_equal(lseek(fd, 0, SEEK_SET), 0);
    return fd;
}

static run finish(char **argv, const char *input, int out)
{
    int in = scratch(input), err = scratch("");
    run r = { 0 };
    pid_t pid = fork();
    assert_true(pid >= 0);
    if (pid == 0) {
        dup2(in, 0);
        dup2(out, 1);
        dup2(err, 2);
        become_tool(argv);
    }
    r.status = wait_for(pid);
    lseek(out, 0, SEEK_SET);
    lseek(err, 0, SEEK_SET);
    r.out = drain(out, &r.out_length);
    r.err = drain(err, &r.err_length);
    close(in);
    close(out);
    close(err);
    return r;
}

run run_tool(const char *input, ...)
{
    char *argv[RUN_ARGUMENTS + 1];
    va_list list;
    va_start(list, input);
    collect(argv, va_arg(list, const char *), list);
    va_end(list);
    return finish(argv, input, scratch(""));
}

run run_tool_into(const char *path, ...)
{
    char *argv[RUN_ARGUMENTS + 1];
    va_list list;
    va_start(list, path);
    collect(argv, va_arg(list, const char *), list);
    va_end(list);
    int out = open(path, O_WRONLY);
    assert_true(out >= 0);
    return finish(argv, "", out);
}

void run_free(run *r)
{
    free(r->out);
    free(r->err);
    *r = (run){ 0 };
}

talk talk_pipe(const char *first, ...)
{
    char *argv[RUN_ARGUMENTS + 1];
    int in[2], out[2];
    va_list list;
    va_start(list, first);
    collect(argv, first, list);
    va_end(list);
    assert_int_equal(pipe(in), 0);
    assert_int_equal(pipe(out), 0);
    talk t = { .pid = fork(), .to = in[1], .from = out[0] };
    assert_true(t.pid >= 0);
    if (t.pid == 0) {
        dup2(in[0], 0);
        dup2(out[1], 1);
        dup2(out[1], 2);
        close(in[1]);
        close(out[0]);
        become_tool(argv);
    }
    close(in[0]);
    close(out[1]);
    return t;
}

static talk open_terminal(size_t columns, char **argv)
{
    struct winsize size = { .ws_row = 24, .ws_col = (unsigned short)columns };
    int master = posix_openpt(O_RDWR | O_NOCTTY);
    assert_true(master >= 0 && grantpt(master) == 0 && unlockpt(master) == 0);
    const char *name = ptsname(master);
    assert_non_null(name);
    talk t = { .pid = fork(), .to = master, .from = master };
    assert_true(t.pid >= 0);
    if (t.pid == 0) {
        setsid();
        int slave = open(name, O_RDWR);   /* becomes the controlling terminal */
        ioctl(slave, TIOCSWINSZ, &size);
        dup2(slave, 0);
        dup2(slave, 1);
        dup2(slave, 2);
        close(master);
        become_tool(argv);
    }
    return t;
}

talk talk_terminal(const char *first, ...)
{
    char *argv[RUN_ARGUMENTS + 1];
    va_list list;
    va_start(list, first);
    collect(argv, first, list);
    va_end(list);
    return open_terminal(80, argv);
}

talk talk_columns(size_t columns, ...)
{
    char *argv[RUN_ARGUMENTS + 1];
    va_list list;
    va_start(list, columns);
    collect(argv, va_arg(list, const char *), list);
    va_end(list);
    return open_terminal(columns, argv);
}

void talk_say(talk *t, const char *text)
{
    size_t length = strlen(text);
    assert_int_equal(write(t->to, text, length), length);
}

/* Hears more; false at the end or when nothing comes. */
static bool hear(talk *t)
{
    struct pollfd wait = { .fd = t->from, .events = POLLIN };
    if (t->room - t->length < 4096)
        t->heard = realloc(t->heard, t->room = t->room * 2 + 8192);
    if (poll(&wait, 1, RUN_PATIENCE * 1000) <= 0)
        return false;
    ssize_t got = read(t->from, t->heard + t->length, t->room - t->length - 1);
    if (got <= 0)
        return false;
    t->length += (size_t)got;
    t->heard[t->length] = '\0';
    return true;
}

void talk_until(talk *t, const char *text)
{
    for (;;) {
        const char *found = t->heard != NULL ? strstr(t->heard + t->seen, text) : NULL;
        if (found != NULL) {
            t->seen = (size_t)(found - t->heard) + strlen(text);
            return;
        }
        if (!hear(t))
            fail_msg("never heard \"%s\"; heard: %s", text, t->heard != NULL ? t->heard : "nothing");
    }
}

void talk_prompt(talk *t)
{
    struct termios mode;
    struct timespec pause = { .tv_nsec = 2000000 };
    talk_until(t, "ringlug> ");
    for (int i = 0; i < RUN_PATIENCE * 500; i++) {
        assert_int_equal(tcgetattr(t->to, &mode), 0);
        if (!(mode.c_lflag & ICANON))
            return;
        nanosleep(&pause, NULL);
    }
    fail_msg("the terminal was left in line mode");
}

static void talk_close(talk *t)
{
    if (t->from != t->to)
        close(t->from);
    close(t->to);
    free(t->heard);
}

void talk_kill(talk *t)
{
    kill(t->pid, SIGKILL);
    assert_int_equal(wait_for(t->pid), 128 + SIGKILL);
    talk_close(t);
}

int talk_end(talk *t)
{
    if (t->from != t->to) {
        close(t->to);
        t->to = t->from;
    }
    while (hear(t))
        continue;
    int status = wait_for(t->pid);
    talk_close(t);
    return status;
}

void run_has(const char *whole, const char *part)
{
    if (strstr(whole, part) == NULL)
        fail_msg("\"%s\" is not in: %s", part, whole);
}

void run_has_not(const char *whole, const char *part)
{
    if (strstr(whole, part) != NULL)
        fail_msg("\"%s\" is in: %s", part, whole);
}

size_t run_count(const char *whole, const char *part)
{
    size_t found = 0;
    for (const char *at = strstr(whole, part); at != NULL; at = strstr(at + 1, part))
        found++;
    return found;
}

size_t run_widest(const char *text)
{
    size_t widest = 0, cells = 0;
    for (; *text != '\0'; text++) {
        if (*text == '\n')
            cells = 0;
        else
            cells += ((unsigned char)*text & 0xC0) != 0x80;
        widest = cells > widest ? cells : widest;
    }
    return widest;
}

void run_flatten(char *text)
{
    char *to = text;
    for (const char *from = text; *from != '\0'; from++) {
        bool space = *from == ' ' || *from == '\n';
        if (!space || to == text || to[-1] != ' ')
            *to++ = space ? ' ' : *from;
    }
    *to = '\0';
}

bool run_has_controls(const char *text, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if (((unsigned char)text[i] < 0x20 && text[i] != '\n') || text[i] == 0x7F)
            return true;
    return false;
}

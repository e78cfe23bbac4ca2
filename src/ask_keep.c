/* ask_keep.c: what outlives the prompt: the journal and the case file.
 *
 * Invariant: a journal is removed only after its lines are in another journal
 * or in a case file on disk; a file of the user's is never replaced unless it
 * is the one the case came from, unchanged since, or one saved here before.
 */
#include "ask.h"

#include "files.h"
#include "report.h"
#include "status.h"

#include <assert.h>
#include <ctype.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

/* Takes back the line that a record names, if it is still the same. */
static bool replay_withdrawal(ask *a, const char *record)
{
    char *end;
    size_t number = (size_t)strtoul(record, &end, 10);
    if (*end != ' ' || number == 0 || number > rl_case_lines(a->c)
        || strcmp(rl_case_line(a->c, number - 1)->text, end + 1) != 0)
        return false;
    return ask_withdraw(a, number - 1) == RL_OK;
}

static size_t replay(ask *a, const text_list *records)
{
    size_t lost = 0;
    for (size_t i = 0; i < records->count && !a->done; i++) {
        const char *record = records->item[i];
        bool good = false;
        if (record[0] == '+')
            good = ask_accept(a, record + 1, strlen(record + 1), a->left, i + 1, true) == RL_OK;
        else if (record[0] == '-')
            good = replay_withdrawal(a, record + 1);
        else if (record[0] == '*')
            good = ask_record(a, '*', record + 1);   /* what came of it was looked at already */
        if (good && record[0] == '+')
            input_remember(a->in, record + 1);
        lost += !good;
    }
    return lost;
}

static void put_left_aside(ask *a)
{
    char *aside = NULL;
    if (journal_put_aside(a->left, &aside))
        ask_say(a, "What was left is kept as %s.", aside);
    else
        ask_say(a, "What was left stays in %s.", a->left);
    free(aside);
    free(a->left);
    a->left = NULL;
    a->tag[0] = '\0';
}

void ask_resume(ask *a)
{
    text_list records = { 0 };
    size_t bad = 0;
    if (a->left == NULL) {
        ask_fault(a, "there is no unfinished case");
        return;
    }
    if (a->dirty) {
        ask_fault(a, "this case has lines of its own: leave it first");
        return;
    }
    if (!journal_read(a->left, &records, &bad)) {
        ask_fault(a, "the journal %s cannot be read", a->left);
        return;
    }
    size_t lost = replay(a, &records) + bad;
    a->logged = ask_closed(a, &records);
    list_free(&records);
    if (a->done)
        return;   /* the machine failed: the old journal stays */
    ask_say(a, "Going on with %zu line%s.", rl_case_lines(a->c), rl_case_lines(a->c) == 1 ? "" : "s");
    if (lost > 0) {
        ask_say(a, "%zu line%s of the journal could not be used.", lost, lost == 1 ? "" : "s");
        put_left_aside(a);
        return;
    }
    unlink(a->left);
    free(a->left);
    a->left = NULL;
}

static size_t count_lines(const text_list *records)
{
    size_t lines = 0;
    for (size_t i = 0; i < records->count; i++) {
        lines += records->item[i][0] == '+';
        lines -= records->item[i][0] == '-' && lines > 0;
    }
    return lines;
}

/* 1 yes (an empty line too), 0 no, -1 neither came: the input ended, or was given up. */
static int yes_or_no(ask *a, const char *question)
{
    static const struct { const char *word; int answer; } known[] = {
        { "", 1 }, { "y", 1 }, { "yes", 1 }, { "n", 0 }, { "no", 0 },
    };
    for (;;) {
        size_t length = 0;
        bool too_long = false;
        const char *said = input_line(a->in, question, &length, &too_long);
        if (said == NULL || input_cancelled(a->in))
            return -1;
        said += strspn(said, " \t");
        size_t n = strcspn(said, " \t");
        for (size_t i = 0; i < sizeof known / sizeof *known; i++)
            if (said[n + strspn(said + n, " \t")] == '\0' && strlen(known[i].word) == n
                && strncasecmp(said, known[i].word, n) == 0)
                return known[i].answer;
        ask_say(a, "Answer y or n first; what you typed was not taken.");
    }
}

static void offer_left(ask *a)
{
    text_list records = { 0 };
    size_t bad = 0;
    journal_read(a->left, &records, &bad);
    size_t lines = count_lines(&records);
    bool nothing_missing = a->file.path == NULL && ask_closed(a, &records);
    a->tag[0] = '\0';   /* it is the left case's, until that is gone on with */
    list_free(&records);
    if (nothing_missing) {
        unlink(a->left);
        free(a->left);
        a->left = NULL;
        return;
    }
    ask_say(a, "A case was left unfinished on these rules: %zu line%s.", lines, lines == 1 ? "" : "s");
    if (!a->terminal) {
        ask_say(a, "The command `resume` goes on with it.");
        return;
    }
    int answer = yes_or_no(a, "Go on with it? [y/n] ");
    if (answer < 0)
        a->done = true;
    else if (answer == 0)
        put_left_aside(a);
    else
        ask_resume(a);
}

bool ask_keep_open(ask *a, const char *rules, const char *case_file)
{
    text why = { 0 };
    if (!journal_open(&a->j, rules, case_file, &a->left, &why)) {
        report_say("ringlug: %s", text_get(&why));
        text_free(&why);
        a->status = TOOL_MACHINE;
        return false;
    }
    if (a->left != NULL)
        offer_left(a);
    return true;
}

/* Why `save` may not write `path`, or NULL. */
static const char *forbidden(const ask *a, const char *path)
{
    struct stat about;
    for (size_t i = 0; i < a->saved.count; i++)
        if (strcmp(a->saved.item[i], path) == 0)
            return NULL;
    for (const char *c = path; *c != '\0'; c++)
        if (iscntrl((unsigned char)*c))
            return "control characters may not stand in the name of a file";
    if (stat(path, &about) != 0)
        return errno == ENOENT ? NULL : strerror(errno);
    return S_ISREG(about.st_mode) && about.st_size == 0 ? NULL : "it is there already, choose another name";
}

static bool write_case(ask *a, const char *path, const text *content)
{
    if (!file_write(path, text_get(content), content->length)) {
        report_say("ringlug: cannot write %s: %s", path, strerror(errno));
        a->status = TOOL_MACHINE;
        return false;
    }
    ask_say(a, "Saved to %s.", path);
    a->dirty = false;
    return true;
}

static bool save_own(ask *a)
{
    if (!casefile_unchanged(&a->file)) {
        ask_fault(a, "%s was changed by someone else meanwhile; it is left alone: save under another name",
                  a->file.path);
        return false;
    }
    assert(a->file.path != NULL);
    text content = { 0 };
    casefile_update(&a->file, &content, a->s.model, a->c);
    bool good = write_case(a, a->file.path, &content);
    if (!good) {
        text_free(&content);
        return false;
    }
    text_free(&a->file.written);
    a->file.written = content;
    return true;
}

static bool save_as(ask *a, const char *path)
{
    const char *why = forbidden(a, path);
    if (why != NULL) {
        ask_fault(a, "cannot save to %s: %s", path, why);
        return false;
    }
    text content = { 0 };
    casefile_whole(&content, a->s.model, a->c);
    bool good = write_case(a, path, &content);
    if (good)
        list_add_new(&a->saved, path);
    text_free(&content);
    return good;
}

bool ask_save(ask *a, const char *path)
{
    if (path == NULL && a->file.path == NULL) {
        ask_fault(a, "save to which file? Give a name: save FILE");
        return false;
    }
    if (path == NULL || (a->file.path != NULL && strcmp(path, a->file.path) == 0))
        return save_own(a);
    bool was_dirty = a->dirty;
    bool good = save_as(a, path);
    if (a->file.path != NULL)
        a->dirty = was_dirty;   /* its own file has not got the lines yet */
    return good;
}

void ask_leave(ask *a)
{
    bool safe = !a->dirty;
    if (a->dirty && a->file.path != NULL && a->status != TOOL_MACHINE)
        safe = save_own(a);
    else if (a->dirty && !a->terminal && a->status != TOOL_MACHINE)
        safe = true;   /* the lines came from elsewhere and are there still */
    if (safe) {
        if (!journal_finish(&a->j))
            ask_failed(a, "cannot remove the journal");
        return;
    }
    ask_say(a, "The case is kept: the next `ringlug ask` on these rules offers to go on with it.");
    journal_leave(&a->j);
}

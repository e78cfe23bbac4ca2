/* cases.c: see cases.h. */
#include "cases.h"

#include "report.h"
#include "status.h"
#include "words.h"

#include <assert.h>
#include <string.h>

static void say_contradiction(session *s, rl_case *c)
{
    const size_t *lines;
    size_t count;
    if (rl_case_contradiction(c, &lines, &count) != RL_OK || count == 0)
        return;
    text said = { 0 };
    text_add(&said, "case %s: this finding ", words_case(c));
    if (count == 1)
        text_add(&said, "cannot be, whatever is at fault");
    else
        text_add(&said, "contradicts %zu other%s: line%s ", count - 1, count == 2 ? "" : "s", count == 2 ? "" : "s");
    for (size_t i = 0; i + 1 < count; i++)
        text_add(&said, "%s%zu", i == 0 ? "" : i + 2 == count ? " and " : ", ", rl_case_line(c, lines[i])->line);
    session_say(s, rl_case_line(c, lines[count - 1]), text_get(&said));
    text_free(&said);
}

int cases_status(session *s, rl_case *c, rl_status status)
{
    if (status == RL_CONTRADICTION)
        say_contradiction(s, c);
    if (status != RL_WIDE)
        return session_status(status);
    report_say("ringlug: case %s needs more memory than its bound allows (see --memory)", words_case(c));
    return TOOL_MACHINE;
}

/* The case that was asked for is in none of the files. */
static int not_there(const cases *all, const char *path, int count, const text_list *names)
{
    const char *near = text_nearest(all->only, (const char *const *)names->item, names->count);
    text where = { 0 };
    if (count == 1)
        text_add(&where, "%s has no case", path);
    else
        text_add(&where, "none of the %d files has a case", count);
    if (near != NULL)
        report_say("ringlug %s: %s `%s`; did you mean `%s`?", all->command, text_get(&where), all->only, near);
    else
        report_say("ringlug %s: %s `%s`", all->command, text_get(&where), all->only);
    text_free(&where);
    return TOOL_INPUT;
}

static int empty(const cases *all, const rl_book *book, const char *path)
{
    size_t passed = rl_book_passed(book);
    if (passed > 0)
        report_say("ringlug %s: %s has no case of this vehicle (%zu of others)", all->command, path, passed);
    else
        report_say("ringlug %s: %s has no case", all->command, path);
    return TOOL_INPUT;
}

/* Adds the names of the cases that it passes by. */
static int visit_file(const cases *all, const char *path, text_list *names, size_t *visited)
{
    rl_book *book;
    int status = session_book(all->s, path, &book);
    if (book == NULL)
        return status;
    for (size_t i = 0; i < rl_book_count(book); i++) {
        rl_case *c = rl_book_case(book, i);
        if (all->only == NULL || strcmp(all->only, rl_case_name(c)) == 0) {
            status = status_worse(status, all->visit(all->user, c));
            rl_case_rest(c);   /* of thousands, one is at hand */
            ++*visited;
            if (fflush(stdout) != 0)   /* nobody reads it, or the disk is full: main says so */
                break;
        } else {
            list_add(names, rl_case_name(c));
        }
    }
    if (rl_book_count(book) == 0 && status == TOOL_DONE && all->only == NULL)
        status = empty(all, book, path);
    rl_book_free(book);
    return status;
}

int cases_visit(const cases *all, char *const *path, int count)
{
    text_list names = { 0 };
    size_t visited = 0;
    int status = TOOL_DONE;
    assert(all->visit != NULL && count > 0);
    for (int i = 0; i < count; i++)
        if (ferror(stdout) == 0)
            status = status_worse(status, visit_file(all, path[i], &names, &visited));
    if (visited == 0 && all->only != NULL)
        status = status_worse(status, not_there(all, path[0], count, &names));
    list_free(&names);
    return status;
}

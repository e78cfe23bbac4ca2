/* session.c: the context and the model of a command.  Invariant: every message of
 * the library is printed as it comes, before anything that depends on it. */
#include "session.h"

#include "report.h"
#include "status.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#ifndef RINGLUG_RULES_DIR
#define RINGLUG_RULES_DIR "/usr/local/share/ringlug/rules"
#endif

enum { OTHER_VEHICLE = 503 };   /* the number of that message */

static void say(void *user, const rl_report *report)
{
    session *s = user;
    s->errors += report->severity == RL_ERROR;
    s->warnings += report->severity == RL_WARNING;
    s->foreign = s->foreign || report->number == OTHER_VEHICLE;
    fflush(stdout);   /* what was said before stands before */
    report_print(stderr, report);
}

int session_status(rl_status status)
{
    if (status == RL_OK)
        return TOOL_DONE;
    if (status == RL_INPUT || status == RL_CONTRADICTION || status == RL_MISSING || status == RL_REFUSED
        || status == RL_FOLDER)
        return TOOL_INPUT;
    if (status == RL_WIDE)
        report_say("ringlug: this needs more memory than its bound allows (see --memory)");
    else
        report_say("ringlug: %s", rl_status_text(status));
    return TOOL_MACHINE;
}

static const char *rules_folder(void)
{
    const char *folder = getenv("RINGLUG_RULES");
    return folder != NULL && folder[0] != '\0' ? folder : RINGLUG_RULES_DIR;
}

int session_open(session *s, const char *rules, size_t memory_mib)
{
    *s = (session){ 0 };
    folders_ask(&s->folders, rules);
    folders_allow(&s->folders, rules_folder());
    rl_settings settings = {
        .sink = { say, s },
        .loader = folders_loader(&s->folders),
        .rules_folder = rules_folder(),
        .memory_bound = memory_mib << 20,
    };
    rl_status status = rl_context_new(&settings, &s->context);
    if (status == RL_OK)
        status = rl_model_read(s->context, rules, &s->model);
    return session_status(status);
}

void session_close(session *s)
{
    if (s->model != NULL)
        rl_model_free(s->model);
    if (s->context != NULL)
        rl_context_free(s->context);
    folders_free(&s->folders);
}

int session_book(session *s, const char *path, rl_book **out)
{
    *out = NULL;
    s->foreign = false;
    folders_ask(&s->folders, path);
    rl_status status = s->own ? rl_book_read_own(s->context, s->model, path, out)
                              : rl_book_read(s->context, s->model, path, out);
    if (s->foreign)
        report_say("%s: cases of other vehicles are errors; with --own they are left out", path);
    return session_status(status);
}

void session_say(session *s, const rl_line *line, const char *said)
{
    assert(line->text != NULL);
    rl_report report = {
        .severity = RL_ERROR, .path = line->path, .line = line->line, .column = 1,
        .width = strlen(line->text), .text = said,
        .line_text = line->text, .line_length = strlen(line->text),
    };
    say(s, &report);
}

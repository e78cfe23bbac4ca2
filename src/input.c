/* input.c: lines from a terminal (libedit) or from anything else.
 *
 * Invariant: without a terminal nothing is printed here, and a line takes no
 * more than MOST bytes of memory however long it is.  The interrupt key gives
 * up a line that is being typed; at any other time it ends the program.
 */
#ifndef _XOPEN_SOURCE
#define _XOPEN_SOURCE 700
#endif
#include "input.h"

#include "offer.h"
#include "term.h"

#include <assert.h>
#include <histedit.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MOST = 1 << 16, HISTORY = 1000 };

struct input {
    const rl_model *model;
    EditLine *edit;             /* NULL: no terminal */
    History *history;
    const char *prompt;
    bool cancelled;             /* the last line was given up */
    bool started;               /* a byte order mark can stand only before the first line */
    text line;
};

static char *prompt_of(EditLine *edit)
{
    static char none[] = "";
    input *in = NULL;
    if (el_get(edit, EL_CLIENTDATA, &in) != 0 || in == NULL)
        return none;
    text_clear(&in->line);
    text_add(&in->line, "%s", in->prompt);
    return in->line.bytes;
}

/* Bytes that all words have in common at their beginning. */
static size_t common(const text_list *word)
{
    size_t n = strlen(word->item[0]);
    for (size_t i = 1; i < word->count; i++) {
        size_t same = 0;
        while (same < n && word->item[i][same] == word->item[0][same])
            same++;
        n = same;
    }
    return n;
}

static void list_offers(const offers *o)
{
    screen sc = term_screen(stdout, true);
    fputc('\n', stdout);
    for (size_t i = 0; i < o->word.count; i++) {
        text row = { 0 };
        text_add(&row, "  ");
        term_fit(&sc, &row, o->word.item[i], 24);
        text_add(&row, " ");
        term_fit(&sc, &row, o->label.item[i], sc.width > 32 ? sc.width - 28 : 4);
        text_trim(&row);
        fprintf(stdout, "%s\n", text_get(&row));
        text_free(&row);
    }
    fflush(stdout);
}

/* Puts `word` in the place of what was typed. */
static void replace(EditLine *edit, const char *typed, const char *word, const char *after)
{
    text whole = { 0 };
    text_add(&whole, "%s%s", word, after);
    if (typed[0] != '\0')
        el_deletestr(edit, (int)term_cells(typed));
    el_insertstr(edit, text_get(&whole));
    text_free(&whole);
}

static unsigned char complete(EditLine *edit, int key)
{
    (void)key;
    input *in = NULL;
    const LineInfo *info = el_line(edit);
    if (el_get(edit, EL_CLIENTDATA, &in) != 0 || in == NULL)
        return CC_ERROR;
    size_t length = (size_t)(info->cursor - info->buffer);
    char *before = tool_copy(info->buffer, length);
    offers o;
    offer_for(in->model, before, &o);
    const char *typed = before + (length - o.replace);
    unsigned char result = CC_REFRESH;
    size_t same = o.word.count > 0 ? common(&o.word) : 0;
    if (o.word.count == 0) {
        result = CC_REFRESH_BEEP;
    } else if (o.word.count == 1) {
        replace(edit, typed, o.word.item[0], " ");
    } else if (same > strlen(typed) && strncmp(o.word.item[0], typed, strlen(typed)) == 0) {
        o.word.item[0][same] = '\0';
        replace(edit, typed, o.word.item[0], "");
    } else {
        list_offers(&o);
        result = CC_REDISPLAY;
    }
    offer_free(&o);
    free(before);
    return result;
}

static void open_terminal(input *in)
{
    HistEvent event;
    in->edit = el_init("ringlug", stdin, stdout, stderr);
    in->history = history_init();
    if (in->edit == NULL || in->history == NULL) {   /* an unknown terminal: plain lines do as well */
        if (in->edit != NULL)
            el_end(in->edit);
        in->edit = NULL;
        return;
    }
    history(in->history, &event, H_SETSIZE, HISTORY);
    history(in->history, &event, H_SETUNIQUE, 1);
    el_set(in->edit, EL_CLIENTDATA, in);
    el_set(in->edit, EL_PROMPT, prompt_of);
    el_set(in->edit, EL_EDITOR, "emacs");
    el_set(in->edit, EL_SIGNAL, 1);
    el_set(in->edit, EL_HIST, history, in->history);
    /* The wide call: the narrow one copies both texts and never gives them back. */
    el_wset(in->edit, EL_ADDFN, L"offer", L"offer names and words", complete);
    el_set(in->edit, EL_BIND, "^I", "offer", NULL);
}

input *input_open(bool terminal, const rl_model *model)
{
    input *in = tool_take(sizeof *in);
    in->model = model;
    if (terminal)
        open_terminal(in);
    return in;
}

void input_close(input *in)
{
    if (in->edit != NULL)
        el_end(in->edit);
    if (in->history != NULL)
        history_end(in->history);
    text_free(&in->line);
    free(in);
}

void input_remember(input *in, const char *line)
{
    HistEvent event;
    if (in->edit != NULL && line[0] != '\0')
        history(in->history, &event, H_ENTER, line);
}

/* A handler can speak to nobody else.  libedit puts its own before it and calls it. */
static volatile sig_atomic_t interrupted;

/* A key that comes while libedit is between two reads breaks none of them off: the alarm
 * breaks off the next one, and again until the line is given up. */
static void interrupt(int signal)
{
    (void)signal;
    interrupted = 1;
    alarm(1);
}

static const char *edited_line(input *in, const char *prompt, size_t *length)
{
    int count = 0;
    struct sigaction ours = { .sa_handler = interrupt }, before, before_alarm;
    in->prompt = prompt;
    interrupted = 0;
    sigemptyset(&ours.sa_mask);
    sigaction(SIGALRM, &ours, &before_alarm);
    sigaction(SIGINT, &ours, &before);
    const char *typed = el_gets(in->edit, &count);
    sigaction(SIGINT, &before, NULL);
    alarm(0);
    sigaction(SIGALRM, &before_alarm, NULL);
    in->cancelled = interrupted != 0;
    if (in->cancelled) {
        fputc('\n', stdout);
        typed = "";
        count = 0;
    } else if (typed == NULL || count <= 0) {
        return NULL;
    }
    *length = (size_t)count;
    text_clear(&in->line);
    text_put(&in->line, typed, *length);
    return in->line.bytes;
}

bool input_cancelled(const input *in)
{
    return in->cancelled;
}

/* A line from a file or pipe; what is beyond MOST bytes is read and dropped. */
static const char *plain_line(input *in, size_t *length, bool *too_long)
{
    int c;
    text_clear(&in->line);
    while ((c = getc(stdin)) != EOF && c != '\n') {
        char byte = (char)c;
        if (in->line.length < MOST)
            text_put(&in->line, &byte, 1);
        else
            *too_long = true;
    }
    if (c == EOF && in->line.length == 0)
        return NULL;
    *length = in->line.length;
    return text_get(&in->line);
}

const char *input_line(input *in, const char *prompt, size_t *length, bool *too_long)
{
    assert(prompt != NULL);
    *too_long = false;
    const char *line = in->edit != NULL ? edited_line(in, prompt, length) : plain_line(in, length, too_long);
    if (line == NULL)
        return NULL;
    if (!in->started && *length >= 3 && memcmp(line, "\xEF\xBB\xBF", 3) == 0) {
        line += 3;
        *length -= 3;
    }
    in->started = true;
    while (*length > 0 && (line[*length - 1] == '\n' || line[*length - 1] == '\r'))
        in->line.bytes[(size_t)(line - in->line.bytes) + --*length] = '\0';
    return line;
}

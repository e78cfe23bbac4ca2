/* ask_repair.c: at the prompt: the repair, its proof, and the case log.
 *
 * Invariant: the journal says that a case is being closed, and by which tag,
 * before the log is touched; so a crash between the two neither loses the case
 * nor brings it into the log twice.
 */
#include "ask.h"

#include "closing.h"
#include "repair.h"
#include "report.h"
#include "status.h"
#include "words.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/* Takes `word` off the end of the words, if it stands there by itself. */
static bool take_last(char *words, const char *word)
{
    size_t length = strlen(words), n = strlen(word);
    if (length < n || strcmp(words + length - n, word) != 0 || (length > n && words[length - n - 1] != ' '))
        return false;
    for (length -= n; length > 0 && words[length - 1] == ' '; length--)
        continue;
    words[length] = '\0';
    return true;
}

/* What is meant: the words, else what is being repaired, else the leader; false: said why not. */
static bool find_subject(ask *a, const char *words, size_t *element)
{
    const rl_answer *answer;
    rl_status status = rl_case_answer(a->c, &answer);
    if (rl_model_vehicle(a->s.model)->elements == 0) {
        ask_fault(a, "the rules declare nothing that could be at fault");
        return false;
    }
    if (status == RL_OK && words[0] != '\0') {
        int found = ask_element(a, words);
        *element = (size_t)found;
        return found >= 0;
    }
    if (status == RL_OK)
        status = repair_subject(a->s.model, a->c, element);
    if (status == RL_CONTRADICTION)
        ask_fault(a, "the findings contradict each other: `show` says which");
    ask_no_answer(a, status);
    return status == RL_OK;
}

/* ---- the repair ---- */

static bool is_taken(const rl_case *c, const char *begin)
{
    size_t n = strlen(begin);
    for (size_t i = 0; i < rl_case_lines(c); i++) {
        const char *line = rl_case_line(c, i)->text;
        if (rl_case_line(c, i)->sort == RL_LINE_OCCASION && strncmp(line, begin, n) == 0
            && (line[n] == ' ' || line[n] == '\0'))
            return true;
    }
    return false;
}

/* The occasion after the repair: what was repaired before stays repaired. */
static void begin_proof(ask *a, size_t element)
{
    assert(element < rl_model_vehicle(a->s.model)->elements);
    const rl_proof *proof;
    rl_status status = rl_case_proof(a->c, element, &proof);
    if (status != RL_OK) {
        ask_no_answer(a, status);
        return;
    }
    text line = { 0 };
    for (unsigned i = 1; line.length == 0 || is_taken(a->c, text_get(&line)); i++) {
        text_clear(&line);
        text_add(&line, "occasion proof-%u", i);
    }
    text_add(&line, " \"after the repair\" with repaired %s", rl_model_element(a->s.model, element)->id);
    for (size_t i = 0; i < proof->repaired_count; i++)
        if (proof->repaired[i] != element)
            text_add(&line, " and repaired %s", rl_model_element(a->s.model, proof->repaired[i])->id);
    ask_say(a, "%s", text_get(&line));
    if (ask_accept(a, text_get(&line), line.length, a->terminal ? "prompt" : "standard input", a->number, false) == RL_OK)
        ask_say(a, "Look again and measure; type what it shows, line by line. `undo` takes the occasion back.");
    text_free(&line);
}

void ask_repair(ask *a, const char *rest)
{
    size_t element = 0;
    const rl_proof *proof;
    char *words = tool_copy(rest, strlen(rest));
    bool done = take_last(words, "done");
    if (!find_subject(a, words, &element)) {
        free(words);
        return;
    }
    free(words);
    if (done) {
        begin_proof(a, element);
        return;
    }
    rl_status status = repair_sheet(&a->sc, a->s.model, a->c, element);
    if (status == RL_OK)
        status = rl_case_proof(a->c, element, &proof);
    if (status == RL_OK && proof->verdict != RL_PROOF_NONE)
        status = repair_progress(&a->sc, a->s.model, a->c, element);
    ask_no_answer(a, status);
    fputc('\n', a->sc.out);
    if (status == RL_OK)
        ask_say(a, "When it is done: `repair %s done`.", rl_model_element(a->s.model, element)->id);
}

/* ---- the proof ---- */

static bool place(const ask *a, text *log, text *why)
{
    return caselog_place(a->log, log, why);
}

static void offer_close(ask *a, size_t element)
{
    text log = { 0 }, why = { 0 }, found = { 0 };
    if (!place(a, &log, &why))
        text_add(&log, "the case log");
    if (closing_found(&found, &why, a->s.model, a->c, element, "") && found.length > 0) {
        found.bytes[found.length - 1] = '\0';
        for (char *c = found.bytes; *c != '\0'; c++)
            *c = *c == '\n' ? ';' : *c;
        ask_say(a, "`close` says %s and puts the case into %s; `close X STATE` says what you found.",
                text_get(&found), text_get(&log));
    } else {
        ask_say(a, "`close` puts the case into %s.", text_get(&log));
    }
    text_free(&found);
    text_free(&why);
    text_free(&log);
}

bool ask_proof(ask *a)
{
    size_t element;
    const rl_proof *proof;
    if (rl_model_vehicle(a->s.model)->elements == 0 || repair_subject(a->s.model, a->c, &element) != RL_OK
        || rl_case_proof(a->c, element, &proof) != RL_OK || proof->verdict == RL_PROOF_NONE || !proof->now)
        return false;
    rl_verdict verdict = proof->verdict;
    ask_no_answer(a, repair_progress(&a->sc, a->s.model, a->c, element));
    if (verdict == RL_PROOF_CONFIRMED)
        offer_close(a, element);
    else if (verdict != RL_PROOF_OPEN)
        ask_say(a, "`show` ranks the suspects anew and has the next tests; `repair X` mends one more.");
    return true;
}

/* ---- closing ---- */

/* Whether it is proved; says what is missing. */
static bool proved(ask *a, size_t element)
{
    const rl_proof *proof;
    rl_status status = rl_case_proof(a->c, element, &proof);
    if (status != RL_OK) {
        ask_no_answer(a, status);
        return false;
    }
    if (proof->verdict == RL_PROOF_CONFIRMED)
        return true;
    if (proof->verdict != RL_PROOF_NONE)
        repair_progress(&a->sc, a->s.model, a->c, element);
    ask_fault(a, "the repair is not proved: `close anyway` closes the case all the same");
    return false;
}

/* Puts the found lines into case and journal. */
static bool accept_found(ask *a, size_t element, const char *words)
{
    text found = { 0 }, why = { 0 };
    bool good = closing_found(&found, &why, a->s.model, a->c, element, words);
    if (!good)
        ask_fault(a, "%s", text_get(&why));
    for (const char *at = text_get(&found); good && *at != '\0';) {
        size_t length = strcspn(at, "\n");
        char *line = tool_copy(at, length);
        ask_say(a, "%s", line);
        good = ask_accept(a, line, length, a->terminal ? "prompt" : "standard input", a->number, true) == RL_OK;
        free(line);
        at += length + (at[length] == '\n');
    }
    text_free(&found);
    text_free(&why);
    return good;
}

static bool is_own_file(const ask *a, const char *log)
{
    struct stat one, other;
    return a->file.path != NULL && stat(a->file.path, &one) == 0 && stat(log, &other) == 0
           && one.st_dev == other.st_dev && one.st_ino == other.st_ino;
}

/* The path of the log wherever the next prompt is started. */
static void put_absolute(text *out, const char *log)
{
    char *folder = file_folder(log), *real = file_real(folder);
    text_add(out, "%s/%s", real != NULL ? real : folder, file_name(log));
    free(real);
    free(folder);
}

/* The journal first, then the log.  A case that an earlier closing did not bring to the end keeps its tag. */
static caselog_result append(ask *a, const char *log, caselog_note *note, text *why)
{
    char own[CASELOG_TAG + 1];
    text record = { 0 };
    if (a->file.path != NULL)
        closing_tag(a->s.model, a->c, own);   /* it has its name from a file: the same again is the same case */
    else if (a->tag[0] != '\0')
        memcpy(own, a->tag, sizeof own);
    else
        caselog_new_tag(own);
    memcpy(a->tag, own, sizeof own);
    text_add(&record, "%s ", own);
    put_absolute(&record, log);
    bool kept = strchr(text_get(&record), '\n') == NULL && ask_record(a, '*', text_get(&record));
    text_free(&record);
    if (kept)
        return closing_append(a->s.model, a->c, log, own, note, why);
    text_add(why, "the case is not closed");
    return CASELOG_FAILED;
}

static void close_into(ask *a, const char *log)
{
    text why = { 0 }, said = { 0 };
    caselog_note note = { 0 };
    caselog_result result = append(a, log, &note, &why);
    if (result == CASELOG_FAILED) {
        report_say("ringlug: %s", text_get(&why));
        ask_say(a, "The case stays open and is kept: `close` tries again.");
        if (!a->terminal)
            a->status = TOOL_MACHINE;
    } else {
        closing_words(&said, result, log, &note);
        ask_say(a, "%s", text_get(&said));
        a->dirty = a->dirty && a->file.path != NULL;   /* its own file has yet to be saved */
        a->done = true;
    }
    caselog_note_free(&note);
    text_free(&said);
    text_free(&why);
}

void ask_close(ask *a, const char *rest)
{
    assert(!a->done);
    size_t element = 0;
    char *words = tool_copy(rest, strlen(rest));
    bool anyway = take_last(words, "anyway");
    if (!anyway && strncmp(words, "anyway ", 7) == 0) {
        anyway = true;
        memmove(words, words + 7, strlen(words + 7) + 1);
    }
    text log = { 0 }, why = { 0 };
    if (a->logged) {
        ask_say(a, "This case is in the log already.");
        a->done = true;
    } else if (find_subject(a, "", &element) && (anyway || proved(a, element)) && accept_found(a, element, words)) {
        if (!place(a, &log, &why))
            ask_fault(a, "%s", text_get(&why));
        else if (is_own_file(a, text_get(&log)))
            ask_fault(a, "the case file is the case log itself: name another log by --log");
        else
            close_into(a, text_get(&log));
    }
    free(words);
    text_free(&log);
    text_free(&why);
}

/* ---- what a journal says of a closing ---- */

/* "TAG LOG" */
static bool is_logged(ask *a, const char *record)
{
    text name = { 0 };
    if (strlen(record) <= CASELOG_TAG + 1 || record[CASELOG_TAG] != ' ')
        return false;
    memcpy(a->tag, record, CASELOG_TAG);
    a->tag[CASELOG_TAG] = '\0';
    bool there = caselog_has(record + CASELOG_TAG + 1, a->tag, &name);
    if (there && a->file.path == NULL)
        a->tag[0] = '\0';   /* done with: a new case gets a tag of its own */
    if (there)
        ask_say(a, "The case that was left had been closed: it is in the case log %s as \"%s\".",
                record + CASELOG_TAG + 1, text_get(&name));
    text_free(&name);
    return there;
}

bool ask_closed(ask *a, const text_list *records)
{
    for (size_t i = records->count; i-- > 0;)
        if (records->item[i][0] == '*')
            return is_logged(a, records->item[i] + 1);
    return false;
}

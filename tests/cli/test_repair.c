/* test_repair.c: the repair sheet, the proof, and the case log, from outside.
 *
 * Crashes: the log is held locked here, so that the tool stands still between
 * its journal and the log; a journal that is put back afterwards is what a
 * crash between the log and the journal's end leaves.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "run.h"

#include <fcntl.h>
#include <glob.h>
#include <jansson.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define BEFORE "tail_left dim\nplate dim\nlook rear corroded\n"
#define AFTER "tail_left normal\nplate normal\ndrop pump from rear to post 30 mV\n"
#define PROOF "occasion proof-1 \"after the repair\" with repaired rear\n"
static const char proven[] = "case \"7\" on cart\n" BEFORE PROOF AFTER;
static const char typed[] = BEFORE "repair rear done\n" AFTER "close\n";

/* A log of its own for each test; its path stands until the next. */
static const char *new_log(void)
{
    static int number;
    static char path[300];
    snprintf(path, sizeof path, "%s/log-%d.case", run_folder(), ++number);
    return path;
}

/* How many whole cases the log has, and that `check` and `rank` read it. */
static void log_has(const char *log, size_t cases)
{
    char *content = run_content(log);
    assert_non_null(content);
    assert_int_equal(run_count(content, "\n# end "), cases);
    assert_int_equal(run_count(content, "\ncase \""), cases);
    free(content);
    run r = run_tool("", "rank", run_data("cart.gnd"), log, NULL);
    assert_int_equal(r.status, 0);
    assert_string_equal(r.err, "");
    run_free(&r);
    r = run_tool("", "check", run_data("cart.gnd"), log, NULL);
    assert_int_equal(r.status, 0);
    run_free(&r);
}

/* ---- the sheet ---- */

static void the_sheet_says_what_is_needed(void **state)
{
    (void)state;
    const char *path = run_file("sheet.case", "case \"7\" on cart\n" BEFORE);
    run r = run_tool("", "repair", run_data("cart.gnd"), path, NULL);
    assert_int_equal(r.status, 0);
    assert_string_equal(r.err, "");
    assert_true(run_widest(r.out) <= 80);
    assert_false(run_has_controls(r.out, r.out_length));
    const char *steps = strstr(r.out, "Repair: clean to bright metal"), *caution = strstr(r.out, "Caution: battery off");
    assert_true(steps != NULL && caution != NULL && caution < steps);
    run_flatten(r.out);
    run_has(r.out, "Repair of rear crossmember stud (rear), most likely corroded");
    run_has(r.out, "Caution: hot exhaust beside the bracket");
    run_has(r.out, "Where: behind the rear tool box, four bolts, to open it 9 min");
    run_has(r.out, "Joined to it: tail_joint, plate, pump");
    run_has(r.out, "Torque: 12 Nm");
    run_has(r.out, "Time: it is open already, 12 min for the repair");   /* `look` has opened it */
    /* The pump draws most; its own caution stands before what it is used for. */
    run_has(r.out, "Caution: fuel vapour: no sparks, ventilate Caution: battery post or main strap: engine and charger "
                "off; hydrogen: no sparks. Caution: hot exhaust beside the bracket - drop pump from rear to post N V");
    run_has(r.out, "3 A pass it then. It should read at most 0.10 V (customary limit)");
    run_has(r.out, "Complaints that must be gone tail_left dim plate dim");
    run_free(&r);
}

static void a_closed_area_costs_its_minutes(void **state)
{
    (void)state;
    const char *path = run_file("closed.case", "case \"7\" on cart\ntail_left dim\n");
    run r = run_tool("", "repair", run_data("cart.gnd"), path, "rear", NULL);
    run_flatten(r.out);
    run_has(r.out, "Time: 9 min to get at it, 12 min for the repair");
    run_free(&r);
    r = run_tool("", "repair", run_data("cart.gnd"), path, "pump", NULL);
    run_flatten(r.out);
    run_has(r.out, "Caution: switch the load off and unplug it first.");
    run_has(r.out, "none: a load proves itself by what it does");
    run_free(&r);
    r = run_tool("", "repair", run_data("cart.gnd"), path, "f7", NULL);   /* a feed: the supply, not below something */
    run_flatten(r.out);
    run_has(r.out, "- supply pump N V");
    run_has(r.out, "It should read at least ");
    run_free(&r);
}

static json_t *get(json_t *object, const char *key)
{
    json_t *value = json_object_get(object, key);
    if (value == NULL)
        fail_msg("no field %s", key);
    return value;
}

static void is_text(json_t *object, const char *key, const char *want)
{
    assert_string_equal(json_string_value(get(object, key)), want);
}

static void json_has_its_fields(void **state)
{
    (void)state;
    const char *path = run_file("json.case", proven);
    run r = run_tool("", "repair", run_data("cart.gnd"), path, "--json", NULL);
    assert_int_equal(r.status, 0);
    json_t *object = json_loads(r.out, 0, NULL);
    assert_non_null(object);
    is_text(object, "case", "7");
    is_text(object, "suspect", "rear");
    is_text(object, "state", "corroded");
    is_text(get(object, "area"), "id", "box");
    assert_true(json_is_true(get(get(object, "area"), "open")));
    assert_true(json_number_value(get(get(object, "area"), "minutes")) == 9);
    is_text(get(object, "repair"), "text", "clean to bright metal");
    assert_true(json_number_value(get(get(object, "repair"), "torque")) == 12);
    json_t *proof = get(object, "proof"), *taken = json_array_get(get(proof, "taken"), 0);
    is_text(proof, "verdict", "confirmed");
    assert_int_equal(json_array_size(get(proof, "complaints")), 2);
    json_t *complaint = json_array_get(get(proof, "complaints"), 1);
    is_text(complaint, "look", "plate");
    is_text(complaint, "line", "plate dim");
    is_text(complaint, "again", "plate normal");
    assert_true(json_is_true(get(complaint, "gone")));
    is_text(taken, "line", "drop pump from rear to post 30 mV");
    is_text(taken, "is", "good");
    assert_true(json_number_value(get(taken, "at_most")) == 0.1);
    assert_true(json_number_value(get(proof, "at_fault")) >= 0.9);
    assert_true(json_number_value(get(proof, "rest")) <= json_number_value(get(proof, "rest_before")));
    assert_true(json_is_null(get(proof, "next_suspect")));
    json_t *reading = json_array_get(get(proof, "readings"), 0);
    assert_int_equal(json_array_size(get(reading, "healthy")), 2);
    get(reading, "bad");
    get(reading, "cautions");
    json_decref(object);
    run_free(&r);
}

/* Runs `repair` on a case; status and a part of what is said on standard error. */
static void refuses(const char *content, const char *suspect, int status, const char *part)
{
    const char *path = run_file("refused.case", content);
    run r = run_tool("", "repair", run_data("cart.gnd"), path, suspect, NULL);
    assert_int_equal(r.status, status);
    run_has(r.err, part);
    run_free(&r);
}

static void bad_input_is_said(void **state)
{
    (void)state;
    refuses(proven, "raer", 1, "ringlug repair: nothing is called `raer`; did you mean `rear`?\n");
    refuses(proven, "box", 1, "ringlug repair: `box` is no element and no load: it cannot be at fault\n");
    refuses(proven, "tail lamp", 1, " suspects fit `tail lamp`: ");
    refuses(proven, "\x1b[31m", 1, "\\x1B");
    refuses("case \"c\" on cart\nscratch rear crust\ntug rear off\n", NULL, 1, "this finding contradicts 1 other: line 2\n");
    refuses("case \"d\" on cart\ntail_left dmi\n", NULL, 1, "case d has errors and is left out");
    refuses("# nothing\n", NULL, 1, "has no case\n");
    run r = run_tool("", "repair", run_data("cart.gnd"), NULL);
    assert_int_equal(r.status, 2);
    run_free(&r);
    r = run_tool("", "repair", run_data("cart.gnd"), run_file("y.case", "case \"c\" on cart\nscratch rear crust\n"
                 "tug rear off\n"), "--json", NULL);
    assert_int_equal(r.status, 1);
    assert_string_equal(r.out, "{\"case\":\"c\",\"suspect\":null,\"proof\":null,\"contradiction\":"
                               "[\"scratch rear crust\",\"tug rear off\"]}\n");
    run_free(&r);
    r = run_tool("", "close", run_data("cart.gnd"), run_file("x.case", proven), "rear", NULL);
    assert_int_equal(r.status, 2);
    run_free(&r);
}

/* ---- close ---- */

static run close_case(const char *content, const char *log, const char *found)
{
    const char *path = run_file("close.case", content);
    return found == NULL ? run_tool("", "close", run_data("cart.gnd"), path, "--log", log, NULL)
                         : run_tool("", "close", run_data("cart.gnd"), path, "--log", log, "--found", found, NULL);
}

static void closes(const char *content, const char *log, const char *found, int status, const char *part)
{
    run r = close_case(content, log, found);
    if (r.status != status)
        fail_msg("status %d: %s%s", r.status, r.out, r.err);
    run_has(status == 0 ? r.out : r.err, part);
    run_free(&r);
}

static void a_proven_case_goes_to_the_log_once(void **state)
{
    (void)state;
    const char *log = new_log();
    closes(proven, log, NULL, 0, "Closed: case \"7\" is in the case log ");
    closes(proven, log, NULL, 0, "This case is in the log already, as \"7\"");
    log_has(log, 1);
    char *content = run_content(log);
    run_has(content, "case \"7\" on cart\n" BEFORE PROOF AFTER "found rear corroded\n# end ");
    free(content);
    closes("case \"7\" on cart\n" BEFORE "occasion o with repaired rear\n" AFTER, log, "rear:corroded", 0,
           "Closed: case \"7-2\" is");
    log_has(log, 2);
    content = run_content(run_path("close.case"));
    assert_null(strstr(content, "found"));   /* the case file is only read */
    free(content);
}

static void what_cannot_have_been_found_is_refused(void **state)
{
    (void)state;
    const char *log = new_log();
    closes(proven, log, "raer:open", 1, "no element is called `raer`; did you mean `rear`?");
    closes(proven, log, "rear:broken", 1, "`broken` is no fault that `rear` can have: a point is loose, corroded or open");
    closes(proven, log, "rear:sound", 1, "`sound` is no fault");
    closes(proven, log, "pump:corroded", 1, "`corroded` is no fault that `pump` can have: a load is failed");
    closes(proven, log, "rear:loose", 1, "`rear` cannot have been loose: the findings rule it out");
    closes(proven, log, ",", 1, "what was found is missing");
    closes("case \"c\" on cart\nscratch rear crust\ntug rear off\n", log, NULL, 1, "contradict each other");
    closes("case \"d\" on cart\ntail_left dmi\n", log, NULL, 1, "has errors and is not closed");
    closes("case \"7\" on cart\n" BEFORE, log, NULL, 1, "no occasion of the case is after the repair");
    closes("case \"7\" on cart\n" BEFORE PROOF "tail_left dim\n", log, NULL, 1, "there is trouble still");
    closes("case \"7\" on cart\n" BEFORE PROOF "tail_left normal\n", log, NULL, 1, "not all is seen yet");
    closes("case \"a\" on cart\ncase \"b\" on cart\n", log, NULL, 1, "2 such cases: name one by --case");
    char own[300];
    snprintf(own, sizeof own, "%s/close.case", run_folder());
    closes(proven, own, NULL, 1, "the case file is the case log itself");
    assert_int_not_equal(access(log, F_OK), 0);   /* nothing of all that has made one */
}

static void several_may_have_been_found(void **state)
{
    (void)state;
    const char *log = new_log();
    closes(proven, log, "rear:corroded,plate.wire:loose", 0, "Closed");
    char *content = run_content(log);
    run_has(content, "\nfound rear corroded\nfound plate.wire loose\n");
    free(content);
    run r = run_tool("", "close", run_data("cart.gnd"), run_file("un.case", "case \"8\" on cart\n" BEFORE), "--anyway",
                     "--log", log, NULL);
    assert_int_equal(r.status, 0);
    run_free(&r);
    log_has(log, 2);
}

static void a_log_that_cannot_be_written_is_status_3(void **state)
{
    (void)state;
    char log[300];
    snprintf(log, sizeof log, "%s/none/log.case", run_folder());
    closes(proven, log, NULL, 3, "No such file or directory");
    closes(proven, "/dev/full", NULL, 3, "no ordinary file");
    closes(proven, run_folder(), NULL, 3, "cannot write the case log");
}

static void a_full_disk_is_status_3_and_harms_nothing(void **state)
{
    (void)state;
    struct rlimit old, low;
    const char *log = new_log();
    closes(proven, log, NULL, 0, "Closed");
    char *before = run_content(log);
    run_file("close.case", "case \"8\" on cart\n" BEFORE PROOF AFTER);
    signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &old), 0);
    low = old;
    low.rlim_cur = strlen(before) + 60;
    /* Everything that the test program itself writes is smaller. */
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &low), 0);
    run r = run_tool("", "close", run_data("cart.gnd"), run_path("close.case"), "--log", log, NULL);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &old), 0);
    assert_int_equal(r.status, 3);
    run_has(r.err, "cannot write the case log");
    run_free(&r);
    char *after = run_content(log);
    assert_string_equal(after, before);
    free(before);
    free(after);
}

/* ---- the prompt ---- */

static run ask_into(const char *log, const char *input)
{
    return run_tool(input, "ask", run_data("cart.gnd"), "--log", log, NULL);
}

static void the_prompt_leads_through(void **state)
{
    (void)state;
    const char *log = new_log();
    run r = ask_into(log, "case \"9\" on cart \"weak lamps\"\n" BEFORE "repair\nrepair rear done\ntail_left normal\nclose\n"
                          "plate normal\ndrop pump from rear to post 30 mV\nclose rear corroded\ntail_left dim\n");
    assert_int_equal(r.status, 1);   /* for the first `close` */
    run_has(r.err, "the repair is not proved: `close anyway` closes the case all the same");
    assert_true(run_widest(r.out) <= 80);
    run_flatten(r.out);
    run_has(r.out, "When it is done: `repair rear done`.");
    run_has(r.out, "Complaints gone: 0 of 2 Still to see: tail_left, plate; drop pump from rear to post N V Good so far");
    run_has(r.out, "Complaints gone: 2 of 2 Still to see: drop pump from rear to post N V Good so far");
    run_has(r.out, "30 mV, good: at most 0.10 V");
    run_has(r.out, "Confirmed: rear crossmember stud (rear) was at fault (");
    run_has(r.out, "`close` says found rear corroded and puts the case into");
    run_has(r.out, "Closed: case \"9\" is in the case log");
    run_free(&r);
    log_has(log, 1);
    char *content = run_content(log);
    run_has(content, "case \"9\" on cart \"weak lamps\"\n" BEFORE PROOF AFTER "found rear corroded\n# end ");
    free(content);
}

static void what_is_not_proved_is_said(void **state)
{
    (void)state;
    const char *log = new_log();
    run r = ask_into(log, BEFORE "repair rear done\ntail_left dim\n");
    run_flatten(r.out);
    run_has(r.out, "Still there: tail_left dim");
    run_has(r.out, "Not proved: there is trouble still. First to look at: ");
    run_free(&r);
    r = ask_into(log, BEFORE "repair rear done\ndrop pump from rear to post 0.4 V\n");
    run_flatten(r.out);
    run_has(r.out, "0.40 V, not good: at most 0.10 V");
    run_has(r.out, "Not proved: a reading is beyond what is allowed");
    run_free(&r);
    r = ask_into(log, BEFORE "repair rear done\ndrop pump from rear to post 1 mV\n");
    run_flatten(r.out);
    run_has(r.out, "too little: the load does not draw, or a probe does not touch. Measure again");
    run_free(&r);
    r = ask_into(log, "plate flickers\nrepair rear done\nplate normal\ndrop pump from rear to post 30 mV\n");
    run_flatten(r.out);   /* it flickered once: it may be anything, and may come back */
    run_has(r.out, "Not confirmed: all is well now, but rear crossmember stud (rear) was at fault with");
    run_free(&r);
    assert_int_not_equal(access(log, F_OK), 0);
}

static void what_was_repaired_before_stays_repaired(void **state)
{
    (void)state;
    run r = ask_into(new_log(), BEFORE "repair tail_joint done\nplate dim\nrepair rear done\nrepair nothing\n"
                                       "repair left tail lamp\nrepair box\nlines\n");
    assert_int_equal(r.status, 1);
    run_has(r.out, "occasion proof-1 \"after the repair\" with repaired tail_joint\n");
    run_has(r.out, "occasion proof-2 \"after the repair\" with repaired rear and repaired tail_joint\n");
    run_has(r.err, "nothing is called `nothing`");
    run_has(r.err, "`box` is no element and no load");
    run_flatten(r.out);
    run_has(r.out, "Repair of left tail lamp (tail_left)");
    run_free(&r);
}

static void a_case_file_is_saved_too(void **state)
{
    (void)state;
    const char *log = new_log(), *path = run_file("own.case", "# mine\ncase \"12\" on cart\n" BEFORE);
    run r = run_tool("repair rear done\n" AFTER "close\n", "ask", run_data("cart.gnd"), path, "--log", log, NULL);
    assert_int_equal(r.status, 0);
    assert_string_equal(r.err, "");
    run_free(&r);
    char *content = run_content(path);
    assert_string_equal(content, "# mine\ncase \"12\" on cart\n" BEFORE PROOF AFTER "found rear corroded\n");
    free(content);
    log_has(log, 1);
    closes("case \"12\" on cart\n" BEFORE PROOF AFTER "found rear corroded\n", log, NULL, 0, "in the log already");
    log_has(log, 1);
}

static void a_log_that_fails_keeps_the_case(void **state)
{
    (void)state;
    run r = ask_into(run_path("none/log.case"), typed);
    assert_int_equal(r.status, 3);
    run_has(r.err, "cannot write the case log");
    run_has(r.out, "The case stays open and is kept");
    run_free(&r);
    const char *log = new_log();
    r = ask_into(log, "resume\nclose\n");
    assert_int_equal(r.status, 0);
    run_has(r.out, "left unfinished");
    run_has(r.out, "Closed: case");
    run_free(&r);
    log_has(log, 1);
}

static void a_terminal_leads_through(void **state)
{
    (void)state;
    const char *log = new_log();
    talk t = talk_terminal("ask", run_data("cart.gnd"), "--log", log, NULL);
    talk_prompt(&t);
    static const char *const line[] = { "tail_left dim\n", "plate dim\n", "look rear corroded\n" };
    for (size_t i = 0; i < 3; i++) {
        talk_say(&t, line[i]);
        talk_prompt(&t);
    }
    talk_say(&t, "rep\trea\tdone\n");     /* completed */
    talk_until(&t, "Still to see: tail_left, plate");
    talk_prompt(&t);
    talk_say(&t, "tail_left normal\n");
    talk_until(&t, "Complaints gone: 1 of 2");
    talk_prompt(&t);
    talk_say(&t, "plate normal\n");
    talk_prompt(&t);
    talk_say(&t, "drop pump from rear to post 30 mV\n");
    talk_until(&t, "Confirmed: ");
    talk_prompt(&t);
    talk_say(&t, "clo\trea\tcor\t\n");
    talk_until(&t, "Closed: case \"prompt\"");
    assert_int_equal(talk_end(&t), 0);
    log_has(log, 1);
}

/* ---- crashes, and others who write ---- */

/* Holds the log, made if it is not there; closing gives it back. */
static int hold(const char *log)
{
    struct flock whole = { .l_type = F_WRLCK, .l_whence = SEEK_SET };
    int fd = open(log, O_RDWR | O_CREAT, 0600);
    assert_true(fd >= 0);
    assert_int_equal(fcntl(fd, F_SETLK, &whole), 0);
    return fd;
}

/* The one journal there is, once it says that the case is being closed. */
static char *closing_journal(char **bytes)
{
    char pattern[300], *path = NULL;
    struct timespec pause = { .tv_nsec = 5000000 };
    snprintf(pattern, sizeof pattern, "%s/ringlug/*.journal", run_folder());
    for (int i = 0; i < RUN_PATIENCE * 200 && path == NULL; i++) {
        glob_t found;
        nanosleep(&pause, NULL);
        if (glob(pattern, 0, NULL, &found) != 0)
            continue;
        *bytes = run_content(found.gl_pathv[0]);
        if (*bytes != NULL && strstr(*bytes, " *") != NULL && strchr(strstr(*bytes, " *"), '\n') != NULL)
            path = strdup(found.gl_pathv[0]);
        else
            free(*bytes);
        globfree(&found);
    }
    assert_non_null(path);
    return path;
}

static void killed_before_the_log(void **state)
{
    (void)state;
    const char *log = new_log();
    char *bytes;
    int held = hold(log);
    talk t = talk_pipe("ask", run_data("cart.gnd"), "--log", log, NULL);
    talk_say(&t, typed);
    free(closing_journal(&bytes));
    free(bytes);
    talk_kill(&t);
    close(held);
    run r = ask_into(log, "resume\nclose\n");
    assert_int_equal(r.status, 0);
    run_has(r.out, "left unfinished");
    run_has(r.out, "Going on with 8 lines.");
    run_free(&r);
    log_has(log, 1);
}

/* Runs a closing to its end; returns the journal as it was before it, put back in its place. */
static void close_and_put_back(const char *log)
{
    char *bytes;
    int held = hold(log);
    talk t = talk_pipe("ask", run_data("cart.gnd"), "--log", log, NULL);
    talk_say(&t, typed);
    char *path = closing_journal(&bytes);
    close(held);
    assert_int_equal(talk_end(&t), 0);
    assert_int_not_equal(access(path, F_OK), 0);
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(bytes, 1, strlen(bytes), f), strlen(bytes));
    assert_int_equal(fclose(f), 0);
    free(path);
    free(bytes);
}

/* A left case and one of this prompt are two, whatever is closed first. */
static void a_left_case_stays_another_case(void **state)
{
    (void)state;
    const char *log = new_log();
    char *bytes;
    int held = hold(log);
    talk t = talk_pipe("ask", run_data("cart.gnd"), "--log", log, NULL);
    talk_say(&t, typed);
    free(closing_journal(&bytes));
    free(bytes);
    talk_kill(&t);
    close(held);
    run r = ask_into(log, typed);
    assert_int_equal(r.status, 0);
    run_has(r.out, "left unfinished");
    run_free(&r);
    log_has(log, 1);
    r = ask_into(log, "resume\nclose\n");
    assert_int_equal(r.status, 0);
    run_has(r.out, "Closed: case \"prompt-2\"");
    run_free(&r);
    log_has(log, 2);
}

/* The log is not found from another folder: the tag still says that it is the same case. */
static void a_closing_keeps_its_tag(void **state)
{
    (void)state;
    const char *log = new_log();
    char away[320];
    close_and_put_back(log);
    snprintf(away, sizeof away, "%s.away", log);
    assert_int_equal(rename(log, away), 0);
    run r = ask_into(away, "resume\nclose\n");
    assert_int_equal(r.status, 0);
    run_has(r.out, "left unfinished");
    run_has(r.out, "This case is in the log already, as \"prompt\"");
    run_free(&r);
    log_has(away, 1);
}

static void killed_after_the_log(void **state)
{
    (void)state;
    const char *log = new_log();
    close_and_put_back(log);
    run r = ask_into(log, "lines\nresume\n");
    run_has(r.out, "had been closed: it is in the case log");
    run_has(r.out, "as \"prompt\"");
    run_has(r.out, "The case has no lines yet.");
    run_has(r.err, "there is no unfinished case");
    run_free(&r);
    log_has(log, 1);
    r = ask_into(log, "lines\n");   /* that was all: nothing is left */
    assert_string_equal(r.out, "The case has no lines yet.\n");
    run_free(&r);
}

static void killed_within_the_log(void **state)
{
    (void)state;
    const char *log = new_log();
    closes(proven, log, NULL, 0, "Closed");
    char *first = run_content(log);
    close_and_put_back(log);
    char *whole = run_content(log);
    assert_int_equal(truncate(log, (off_t)(strlen(first) + (strlen(whole) - strlen(first)) / 2)), 0);
    run r = ask_into(log, "resume\nclose\n");
    assert_int_equal(r.status, 0);
    run_has(r.out, "left unfinished");
    run_flatten(r.out);
    run_has(r.out, "stand as comments now");
    run_free(&r);
    log_has(log, 2);
    char *content = run_content(log);
    assert_memory_equal(content, first, strlen(first));
    run_has(content, "\n# torn: case \"prompt\" on cart\n");
    run_has(content, "\ncase \"prompt\" on cart\n");
    free(content);
    free(first);
    free(whole);
}

/* With a case file: what was closed is not closed again, whether the journal is taken up or not. */
static void killed_after_the_log_with_a_case_file(void **state)
{
    (void)state;
    const char *log = new_log();
    char path[300], journal[320];
    snprintf(path, sizeof path, "%s/crash.case", run_folder());
    snprintf(journal, sizeof journal, "%s.journal", path);
    int held = hold(log);
    char *bytes = NULL;
    struct timespec pause = { .tv_nsec = 5000000 };
    talk t = talk_pipe("ask", run_data("cart.gnd"), path, "--log", log, NULL);
    talk_say(&t, typed);
    for (int i = 0; i < RUN_PATIENCE * 200 && (bytes == NULL || strstr(bytes, " *") == NULL); i++) {
        free(bytes);
        nanosleep(&pause, NULL);
        bytes = run_content(journal);
    }
    assert_non_null(strstr(bytes, " *"));
    close(held);
    assert_int_equal(talk_end(&t), 0);
    run_file("crash.case.journal", bytes);
    free(bytes);
    assert_int_equal(unlink(path), 0);   /* the crash came before it was saved */
    run r = run_tool("resume\nclose\n", "ask", run_data("cart.gnd"), path, "--log", log, NULL);
    assert_int_equal(r.status, 0);
    run_has(r.out, "had been closed");
    run_has(r.out, "This case is in the log already.");
    run_free(&r);
    log_has(log, 1);
    char *content = run_content(path);
    assert_string_equal(content, "case \"crash\" on cart\n" BEFORE PROOF AFTER "found rear corroded\n");
    free(content);
    r = run_tool("close\n", "ask", run_data("cart.gnd"), path, "--log", log, NULL);
    run_has(r.out, "in the log already, as \"crash\"");
    run_free(&r);
    log_has(log, 1);
}

static void two_may_close_at_once(void **state)
{
    (void)state;
    const char *log = new_log();
    int held = hold(log);
    talk one = talk_pipe("ask", run_data("cart.gnd"), "--log", log, NULL);
    talk other = talk_pipe("ask", run_data("cart.gnd"), "--log", log, NULL);
    talk_say(&one, typed);
    talk_say(&other, typed);
    char *bytes;
    free(closing_journal(&bytes));
    free(bytes);
    close(held);
    assert_int_equal(talk_end(&one), 0);
    assert_int_equal(talk_end(&other), 0);
    log_has(log, 2);
    char *content = run_content(log);
    run_has(content, "\ncase \"prompt\" on cart\n");
    run_has(content, "\ncase \"prompt-2\" on cart\n");
    free(content);
}

static void the_log_may_be_named_by_the_environment(void **state)
{
    (void)state;
    const char *log = new_log();
    setenv("RINGLUG_LOG", log, 1);
    run r = run_tool("", "close", run_data("cart.gnd"), run_file("env.case", proven), NULL);
    assert_int_equal(r.status, 0);
    run_free(&r);
    unsetenv("RINGLUG_LOG");
    log_has(log, 1);
    setenv("XDG_DATA_HOME", run_path("data"), 1);
    r = run_tool("", "close", run_data("cart.gnd"), run_path("env.case"), NULL);
    assert_int_equal(r.status, 0);
    run_free(&r);
    log_has(run_path("data/ringlug/cases.case"), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_sheet_says_what_is_needed),
        cmocka_unit_test(a_closed_area_costs_its_minutes),
        cmocka_unit_test(json_has_its_fields),
        cmocka_unit_test(bad_input_is_said),
        cmocka_unit_test(a_proven_case_goes_to_the_log_once),
        cmocka_unit_test(what_cannot_have_been_found_is_refused),
        cmocka_unit_test(several_may_have_been_found),
        cmocka_unit_test(a_log_that_cannot_be_written_is_status_3),
        cmocka_unit_test(a_full_disk_is_status_3_and_harms_nothing),
        cmocka_unit_test(the_prompt_leads_through),
        cmocka_unit_test(what_is_not_proved_is_said),
        cmocka_unit_test(what_was_repaired_before_stays_repaired),
        cmocka_unit_test(a_case_file_is_saved_too),
        cmocka_unit_test(a_log_that_fails_keeps_the_case),
        cmocka_unit_test(a_terminal_leads_through),
        cmocka_unit_test(killed_before_the_log),
        cmocka_unit_test(a_left_case_stays_another_case),
        cmocka_unit_test(a_closing_keeps_its_tag),
        cmocka_unit_test(killed_after_the_log),
        cmocka_unit_test(killed_within_the_log),
        cmocka_unit_test(killed_after_the_log_with_a_case_file),
        cmocka_unit_test(two_may_close_at_once),
        cmocka_unit_test(the_log_may_be_named_by_the_environment),
    };
    return cmocka_run_group_tests(tests, run_setup, run_teardown) != 0;
}

/* test_band_book.c: rows that are kept are the rows that would be worked out;
 * bound, failing memory, one hash for two keys, and several threads at once.
 *
 * Invariant of the allocator here: it may be asked by any thread, and knows
 * how many pieces are out.
 */
#include "engine/band_book.h"
#include "engine/showing.h"
#include "held/held.h"
#include "held/small.h"

#include <math.h>
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { PLENTY = 1 << 20, WORDS = 5, NUMBERS = 3, KEYS = 2000, THREADS = 4, OUTCOMES = 8 };

/* ---- an allocator of our own ---- */

typedef struct store {
    atomic_int out;
    atomic_bool empty;
} store;

static void *take(void *user, size_t size)
{
    store *from = user;
    void *piece = from->empty ? NULL : malloc(size);
    from->out += piece != NULL;
    return piece;
}

static void give(void *user, void *piece)
{
    store *to = user;
    to->out--;
    free(piece);
}

/* A book in an arena of its own, as in a model. */
typedef struct shelf {
    store pieces;
    rl_arena arena;
    jmp_buf bail;
    rl_band_book *book;
} shelf;

static void open_book(shelf *s, size_t bound)
{
    rl_allocator allocator = {take, give, &s->pieces};
    atomic_init(&s->pieces.out, 0);
    atomic_init(&s->pieces.empty, false);
    rl_arena_init(&s->arena, &allocator, 0);
    if (setjmp(s->bail) != 0)
        fail();
    s->arena.bail = &s->bail;
    s->book = rl_band_book_make(&s->arena, bound);
}

static void close_book(shelf *s)
{
    rl_band_book_free(s->book);
    rl_arena_free(&s->arena);
    assert_int_equal(s->pieces.out, 0);
}

/* ---- keys and rows that say which they are ---- */

static rl_band_key key_of(int number, double word[WORDS])
{
    for (int i = 0; i < WORDS; i++)
        word[i] = i < 2 ? i : sin(number + i);
    return (rl_band_key){WORDS, word, rl_band_hash(word, WORDS)};
}

static void row_of(int number, double row[NUMBERS])
{
    for (int i = 0; i < NUMBERS; i++)
        row[i] = number * 10.0 + i;
}

static const double *put(rl_band_book *book, int number)
{
    double word[WORDS], row[NUMBERS];
    rl_band_key key = key_of(number, word);
    row_of(number, row);
    return rl_band_book_put(book, &key, row, NUMBERS);
}

static const double *look(rl_band_book *book, int number)
{
    double word[WORDS];
    rl_band_key key = key_of(number, word);
    return rl_band_book_look(book, &key);
}

static bool is_row(const double *got, int number)
{
    double row[NUMBERS];
    row_of(number, row);
    return got != NULL && memcmp(got, row, sizeof row) == 0;
}

static void what_is_put_is_found(void **unused)
{
    (void)unused;
    shelf s;
    open_book(&s, PLENTY);
    for (int i = 0; i < KEYS; i++) {
        assert_null(look(s.book, i));
        const double *kept = put(s.book, i);
        assert_true(is_row(kept, i) && look(s.book, i) == kept);
        assert_true(put(s.book, i) == kept);
    }
    for (int i = 0; i < KEYS; i++)
        assert_true(is_row(look(s.book, i), i));
    assert_int_equal(s.pieces.out, KEYS + 1);
    close_book(&s);
    rl_band_book_free(NULL);
}

/* What a word makes of the hash so far, as band_book.c has it. */
static uint64_t mixed(uint64_t hash, double word)
{
    uint64_t bits;
    memcpy(&bits, &word, sizeof bits);
    hash = (hash ^ bits) * UINT64_C(0x9e3779b97f4a7c15);
    return hash ^ hash >> 32;
}

/* Another key of two words with the hash of `word`: the second word takes back what the first changed. */
static void twin_of(const double word[2], double other[2])
{
    uint64_t bits, want = mixed(2, word[0]);
    memcpy(&bits, &word[1], sizeof bits);
    for (other[0] = word[0] + 1;; other[0] += 1) {
        uint64_t second = bits ^ want ^ mixed(2, other[0]);
        memcpy(&other[1], &second, sizeof second);
        if (isfinite(other[1]) && fabs(other[1]) > 0)
            return;
    }
}

static void one_hash_for_two_keys(void **unused)
{
    (void)unused;
    double word[2] = {1.5, 2.25}, other[2], row[NUMBERS];
    twin_of(word, other);
    rl_band_key key = {2, word, rl_band_hash(word, 2)}, twin = {2, other, rl_band_hash(other, 2)};
    assert_true(key.hash == twin.hash && memcmp(word, other, sizeof word) != 0);
    shelf s;
    open_book(&s, PLENTY);
    row_of(1, row);
    assert_non_null(rl_band_book_put(s.book, &key, row, NUMBERS));
    assert_null(rl_band_book_look(s.book, &twin));
    row_of(2, row);
    assert_non_null(rl_band_book_put(s.book, &twin, row, NUMBERS));
    assert_true(is_row(rl_band_book_look(s.book, &key), 1) && is_row(rl_band_book_look(s.book, &twin), 2));
    close_book(&s);
}

static void bound_is_kept(void **unused)
{
    (void)unused;
    enum { BOUND = 10000, LEAST = (WORDS + NUMBERS) * sizeof(double) };
    shelf s;
    open_book(&s, BOUND);
    int kept = 0;
    for (int i = 0; i < KEYS; i++)
        kept += put(s.book, i) != NULL;
    assert_true(0 < kept && kept <= BOUND / LEAST);
    assert_int_equal(s.pieces.out, kept + 1);
    for (int i = 0; i < KEYS; i++)
        assert_true(i < kept ? is_row(look(s.book, i), i) : look(s.book, i) == NULL);
    close_book(&s);
}

static void without_memory_nothing_is_kept(void **unused)
{
    (void)unused;
    shelf s;
    open_book(&s, PLENTY);
    assert_true(is_row(put(s.book, 1), 1));
    s.pieces.empty = true;
    assert_null(put(s.book, 2));
    assert_null(look(s.book, 2));
    assert_true(is_row(put(s.book, 1), 1) && is_row(look(s.book, 1), 1));
    s.pieces.empty = false;
    assert_true(is_row(put(s.book, 2), 2));
    close_book(&s);
}

/* ---- threads ---- */

typedef struct worker {
    pthread_t thread;
    rl_band_book *book;
    int first;
    int wrong;
} worker;

/* All keys, each thread from another one on. */
static void *hammer(void *user)
{
    worker *w = user;
    for (int i = 0; i < KEYS; i++) {
        int number = (w->first + i) % KEYS;
        const double *found = look(w->book, number);
        const double *row = found != NULL ? found : put(w->book, number);
        w->wrong += !is_row(row, number) || look(w->book, number) != row;
    }
    return NULL;
}

static void threads_share_a_book(void **unused)
{
    (void)unused;
    shelf s;
    open_book(&s, PLENTY);
    worker w[THREADS];
    for (int t = 0; t < THREADS; t++) {
        w[t] = (worker){.book = s.book, .first = t * 7};
        assert_int_equal(pthread_create(&w[t].thread, NULL, hammer, &w[t]), 0);
    }
    for (int t = 0; t < THREADS; t++) {
        assert_int_equal(pthread_join(w[t].thread, NULL), 0);
        assert_int_equal(w[t].wrong, 0);
    }
    assert_int_equal(s.pieces.out, KEYS + 1);
    close_book(&s);
}

/* ---- rows of meters ---- */

static const rl_term terms[] = {{0.02, 0.9}, {0.05, 1.1}};
static const rl_end ends[] = {
    {.sort = RL_END_OPEN},
    {.sort = RL_END_LAW, .law = {.sort = RL_TRUE_FIXED, .base = 0.3}},
    {.sort = RL_END_LAW, .law = {.sort = RL_TRUE_WAY, .base = 0.01, .terms = 2, .term = terms}},
    {.sort = RL_END_LAW, .law = {.sort = RL_TRUE_WAY, .base = 0.01, .terms = 1, .term = terms}},
    {.sort = RL_END_LAW, .law = {.sort = RL_TRUE_COUNTS, .base = 0.01, .scale = 2, .median = 0.8, .log_spread = 1.6,
                                 .low = 0, .high = 0.3}},
    {.sort = RL_END_LAW, .law = {.sort = RL_TRUE_COUNTS, .base = 0.01, .scale = 2, .median = 0.8, .log_spread = 1.6,
                                 .low = 0.3, .high = INFINITY}},
};
enum { ENDS = sizeof ends / sizeof *ends };

typedef struct rows { double row[RL_SHOW_CONTINUITY + 1][ENDS][OUTCOMES]; } rows;

static void ask_all(const rl_model *model, double battery, rows *out)
{
    memset(out, 0, sizeof *out);
    for (int sort = 0; sort <= (int)RL_SHOW_CONTINUITY; sort++)
        for (int e = 0; e < ENDS; e++) {
            rl_showing s = rl_showing_make(model, (rl_showing_sort)sort, battery, false);
            rl_showing_bands(&s, &ends[e], out->row[sort][e]);
        }
}

static double entropy_of(const double *row, int outcomes)
{
    double bits = 0;
    for (int i = 0; i < outcomes; i++)
        bits -= row[i] > 0 ? row[i] * log(row[i]) / log(2) : 0;
    return bits;
}

/* The row with its entropy, twice, against what a fresh model works out. */
static void check_rows(const rl_model *model, double battery, const rows *fresh, rl_arena *scratch, bool kept)
{
    for (int sort = 0; sort <= (int)RL_SHOW_CONTINUITY; sort++)
        for (int e = 0; e < ENDS; e++) {
            rl_showing s = rl_showing_make(model, (rl_showing_sort)sort, battery, false);
            int outcomes = rl_showing_outcomes(&s);
            const double *want = fresh->row[sort][e];
            const double *row = rl_showing_row(&s, &ends[e], scratch), *again = rl_showing_row(&s, &ends[e], scratch);
            assert_memory_equal(row, want, (size_t)outcomes * sizeof *row);
            assert_memory_equal(row, again, (size_t)(outcomes + 1) * sizeof *row);
            assert_true((row == again) == kept);
            assert_true(fabs(row[outcomes] - entropy_of(want, outcomes)) < 1e-12);
        }
}

static void rows_are_those_worked_out(void **unused)
{
    (void)unused;
    held files = {0};
    held_put_text(&files, "v.gnd", small_vehicle);
    held_put_text(&files, "base.gnd", small_base);
    rl_context *context = held_context(&files, 0);
    rl_model *model = held_model(&files, context), *other = held_model(&files, context);
    static rows fresh, weak, again;
    ask_all(model, 0, &fresh);
    ask_all(model, 11.1, &weak);
    ask_all(model, 0, &again);
    assert_memory_equal(&fresh, &again, sizeof fresh);
    ask_all(other, 11.1, &again);      /* in another order */
    assert_memory_equal(&weak, &again, sizeof weak);
    for (int sort = 0; sort <= (int)RL_SHOW_CONTINUITY; sort++) {
        bool live = sort == (int)RL_SHOW_DROP || sort == (int)RL_SHOW_SUPPLY;
        assert_true((memcmp(weak.row[sort], fresh.row[sort], sizeof fresh.row[sort]) != 0) == live);
    }
    shelf s;
    open_book(&s, 0);
    check_rows(model, 0, &fresh, &s.arena, true);
    close_book(&s);
    rl_model_free(model);
    rl_model_free(other);
    rl_context_free(context);
    assert_int_equal(files.out, 0);
}

/* Memory that fails while rows are kept is no failure of the question. */
static void rows_without_memory(void **unused)
{
    (void)unused;
    held files = {0};
    held_put_text(&files, "v.gnd", small_vehicle);
    held_put_text(&files, "base.gnd", small_base);
    rl_context *context = held_context(&files, 0);
    rl_model *model = held_model(&files, context), *other = held_model(&files, context);
    static rows fresh, bare;
    ask_all(other, 0, &fresh);
    files.asked = 0;
    files.fail_at = 1;
    files.fail_on = true;
    ask_all(model, 0, &bare);
    assert_true(files.failed);
    assert_memory_equal(&fresh, &bare, sizeof fresh);
    shelf s;
    open_book(&s, 0);
    check_rows(model, 0, &fresh, &s.arena, false);
    files.fail_at = 0;
    close_book(&s);
    rl_model_free(model);
    rl_model_free(other);
    rl_context_free(context);
    assert_int_equal(files.out, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_put_is_found),
        cmocka_unit_test(one_hash_for_two_keys),
        cmocka_unit_test(bound_is_kept),
        cmocka_unit_test(without_memory_nothing_is_kept),
        cmocka_unit_test(threads_share_a_book),
        cmocka_unit_test(rows_are_those_worked_out),
        cmocka_unit_test(rows_without_memory),
    };
    return cmocka_run_group_tests(tests, NULL, NULL) != 0;
}

/* test_arena.c: memory comes aligned and zeroed, goes back on rewind, and
 * running out jumps to the place that was named. */
#include "arena.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdalign.h>
#include <stdlib.h>
#include <string.h>

/* An allocator that counts, and fails after `left` pieces. */
typedef struct counter {
    size_t taken, given, left;
} counter;

static void *take(void *user, size_t size)
{
    counter *c = user;
    if (c->left == 0)
        return NULL;
    c->left--;
    c->taken++;
    void *piece = malloc(size);
    memset(piece, 0xa5, size);  /* so that what should be zeroed is seen not to be */
    return piece;
}

static void give(void *user, void *piece)
{
    ((counter *)user)->given++;
    free(piece);
}

static rl_arena make(counter *c, size_t limit)
{
    const rl_allocator allocator = {take, give, c};
    rl_arena arena;
    rl_arena_init(&arena, &allocator, limit);
    return arena;
}

static void pieces_are_zeroed_and_aligned(void **state)
{
    (void)state;
    counter c = {.left = SIZE_MAX};
    rl_arena arena = make(&c, 0);
    for (size_t size = 0; size < 3000; size += 7) {
        unsigned char *piece = rl_arena_get(&arena, size);
        assert_int_equal((uintptr_t)piece % alignof(max_align_t), 0);
        for (size_t i = 0; i < size; i++)
            assert_int_equal(piece[i], 0);
        memset(piece, 0xff, size);
    }
    rl_arena_free(&arena);
    assert_int_equal(c.taken, c.given);
    assert_int_equal(arena.used, 0);
    assert_true(c.taken < 60);  /* 640 kB in chunks that grow, not in pieces */
}

static void pieces_do_not_overlap(void **state)
{
    (void)state;
    enum { PIECES = 500 };
    counter c = {.left = SIZE_MAX};
    rl_arena arena = make(&c, 0);
    unsigned char *piece[PIECES];
    for (size_t i = 0; i < PIECES; i++) {
        piece[i] = rl_arena_raw(&arena, i + 1);
        memset(piece[i], (int)(i & 0xff), i + 1);
    }
    for (size_t i = 0; i < PIECES; i++)
        for (size_t k = 0; k <= i; k++)
            assert_int_equal(piece[i][k], i & 0xff);
    rl_arena_free(&arena);
}

static void copies_end_in_nul(void **state)
{
    (void)state;
    counter c = {.left = SIZE_MAX};
    rl_arena arena = make(&c, 0);
    assert_string_equal(rl_arena_copy(&arena, "ringlug", 4), "ring");
    assert_string_equal(rl_arena_copy(&arena, NULL, 0), "");
    rl_arena_free(&arena);
}

static void rewind_gives_back_what_came_after(void **state)
{
    (void)state;
    counter c = {.left = SIZE_MAX};
    rl_arena arena = make(&c, 0);
    rl_mark empty = rl_arena_mark(&arena);
    char *kept = rl_arena_copy(&arena, "kept", 4);
    rl_mark mark = rl_arena_mark(&arena);
    size_t used = arena.used;
    char *first = rl_arena_raw(&arena, 100);
    rl_arena_rewind(&arena, mark);
    assert_ptr_equal(rl_arena_raw(&arena, 100), first);
    for (int i = 0; i < 100; i++)
        rl_arena_raw(&arena, 5000);
    assert_true(arena.used > used);
    rl_arena_rewind(&arena, mark);
    assert_int_equal(arena.used, used);
    assert_string_equal(kept, "kept");
    rl_arena_rewind(&arena, empty);
    assert_int_equal(arena.used, 0);
    assert_int_equal(c.taken, c.given);
}

/* How often the arena was filled with 1000 bytes before it gave up. */
static int fill(rl_arena *arena)
{
    jmp_buf out;
    volatile int count = 0;
    arena->bail = &out;
    if (setjmp(out) == 0)
        for (; count < 1000000; count++)
            rl_arena_get(arena, 1000);
    return count;
}

static void running_out_jumps(void **state)
{
    (void)state;
    for (size_t left = 0; left < 8; left++) {
        counter c = {.left = left};
        rl_arena arena = make(&c, 0);
        int count = fill(&arena);
        assert_true(left == 0 ? count == 0 : count >= (int)left);
        rl_arena_free(&arena);
        assert_int_equal(c.taken, c.given);
    }
}

static void the_limit_holds(void **state)
{
    (void)state;
    for (size_t limit = 1; limit < 1000000; limit = limit * 3 / 2 + 1) {
        counter c = {.left = SIZE_MAX};
        rl_arena arena = make(&c, limit);
        int count = fill(&arena);
        assert_true(arena.used <= limit);
        /* At least half of what is allowed can be used, once it is more than one chunk. */
        if (limit > 16384)
            assert_true((size_t)count * 1000 >= limit / 2);
        rl_arena_free(&arena);
    }
}

/* Whether the request jumps, as one that no memory can hold must. */
static int jumps(rl_arena *arena, size_t count, size_t size)
{
    jmp_buf out;
    arena->bail = &out;
    if (setjmp(out) != 0)
        return 1;
    rl_arena_array(arena, count, size);
    return 0;
}

static void products_do_not_overflow(void **state)
{
    (void)state;
    counter c = {.left = SIZE_MAX};
    rl_arena arena = make(&c, 1 << 20);
    assert_true(jumps(&arena, SIZE_MAX / 2, 4));
    assert_true(jumps(&arena, SIZE_MAX, 1));
    assert_true(jumps(&arena, (size_t)1 << 33, (size_t)1 << 33));
    assert_false(jumps(&arena, 0, SIZE_MAX));
    assert_false(jumps(&arena, SIZE_MAX, 0));
    assert_false(jumps(&arena, 1000, 1000));
    rl_arena_free(&arena);
    assert_int_equal(c.taken, c.given);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pieces_are_zeroed_and_aligned),
        cmocka_unit_test(pieces_do_not_overlap),
        cmocka_unit_test(copies_end_in_nul),
        cmocka_unit_test(rewind_gives_back_what_came_after),
        cmocka_unit_test(running_out_jumps),
        cmocka_unit_test(the_limit_holds),
        cmocka_unit_test(products_do_not_overflow),
    };
    return cmocka_run_group_tests_name("arena", tests, NULL, NULL) != 0;
}

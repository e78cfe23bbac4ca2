/* test_heap.c: what is pushed comes out as if sorted, whatever comes and goes
 * in between; a heap that gets no memory is as it was. */
#include "heap.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

enum { ITEMS = 3000, NAME = 6 };

typedef struct item {
    rl_rank rank;
    int number;              /* in order of pushing */
    unsigned char name[NAME];
} item;

/* An allocator that fails after `left` pieces. */
static void *take(void *user, size_t size)
{
    size_t *left = user;
    return (*left)-- > 0 ? malloc(size) : NULL;
}

static void give(void *user, void *piece)
{
    (void)user;
    free(piece);
}

static rl_arena make(size_t *left)
{
    const rl_allocator allocator = {take, give, left};
    rl_arena arena;
    rl_arena_init(&arena, &allocator, 0);
    return arena;
}

static unsigned draw(uint64_t *seed, unsigned below)
{
    *seed = *seed * 6364136223846793005u + 1442695040888963407u;
    return (unsigned)(*seed >> 33) % below;
}

/* `kinds` small makes many ties in each part of the rank. */
static void fill(item *list, int count, unsigned kinds, uint64_t seed)
{
    for (int i = 0; i < count; i++) {
        item *own = &list[i];
        *own = (item){.number = i};
        for (int k = 0; k < NAME; k++)
            own->name[k] = (unsigned char)(draw(&seed, kinds) * 200 / kinds);   /* above 127 too: bytes, not chars */
        int depth = (int)draw(&seed, NAME + 1);
        own->rank = (rl_rank){(double)draw(&seed, kinds) - 0.5 * kinds, depth, own->name, (size_t)depth};
    }
}

/* The order said in heap.h, worked out anew: below 0 if `a` comes first. */
static int order(const item *a, const item *b)
{
    double first = b->rank.first - a->rank.first, second = b->rank.second - a->rank.second;
    if (first < 0 || first > 0)
        return first < 0 ? -1 : 1;
    if (second < 0 || second > 0)
        return second < 0 ? -1 : 1;
    for (size_t i = 0; i < a->rank.length; i++)
        if (a->rank.last[i] != b->rank.last[i])
            return a->rank.last[i] < b->rank.last[i] ? -1 : 1;
    return 0;
}

static int by_order(const void *a, const void *b)
{
    return order(a, b);
}

static void push_all(rl_heap *heap, rl_arena *arena, item *list, int count)
{
    for (int i = 0; i < count; i++)
        rl_heap_push(heap, arena, &list[i].rank);
    assert_int_equal(heap->count, count);
}

static void what_comes_out_is_sorted(void **state)
{
    (void)state;
    static item list[ITEMS], sorted[ITEMS];
    static bool out[ITEMS];
    for (unsigned kinds = 1; kinds < 2000; kinds = 3 * kinds + 1) {
        size_t left = SIZE_MAX;
        rl_arena arena = make(&left);
        rl_heap heap = {0};
        fill(list, ITEMS, kinds, kinds);
        memcpy(sorted, list, sizeof sorted);
        qsort(sorted, ITEMS, sizeof *sorted, by_order);
        memset(out, 0, sizeof out);
        push_all(&heap, &arena, list, ITEMS);
        for (int i = 0; i < ITEMS; i++) {
            const item *own = (const item *)rl_heap_pop(&heap);
            assert_int_equal(order(own, &sorted[i]), 0);
            assert_false(out[own->number]);
            out[own->number] = true;
        }
        assert_int_equal(heap.count, 0);
        rl_arena_free(&arena);
    }
}

/* Pushing and taking out by turns: what comes out is never after what stays. */
static void the_first_comes_out_at_any_time(void **state)
{
    (void)state;
    static item list[ITEMS];
    static bool in[ITEMS];
    size_t left = SIZE_MAX;
    rl_arena arena = make(&left);
    rl_heap heap = {0};
    uint64_t seed = 7;
    fill(list, ITEMS, 9, 7);
    memset(in, 0, sizeof in);
    for (int next = 0; next < ITEMS || heap.count > 0;) {
        if (next < ITEMS && (heap.count == 0 || draw(&seed, 5) < 3)) {
            in[next] = true;
            rl_heap_push(&heap, &arena, &list[next++].rank);
            continue;
        }
        const item *own = (const item *)rl_heap_pop(&heap);
        assert_true(in[own->number]);
        in[own->number] = false;
        for (int i = 0; i < next; i++)
            if (in[i])
                assert_true(order(own, &list[i]) <= 0);
    }
    rl_arena_free(&arena);
}

static void parts_of_a_rank_count_in_turn(void **state)
{
    (void)state;
    static const unsigned char low[] = {1, 2, 3}, high[] = {1, 2, 200};
    const rl_rank rank[] = {
        {2, -5, NULL, 0}, {1, 9, NULL, 0}, {1, 3, low, 3}, {1, 3, high, 3}, {-4, 1e300, NULL, 0},
    };
    const int count = sizeof rank / sizeof *rank;
    for (int i = 0; i < count; i++)
        for (int j = 0; j < count; j++)
            assert_int_equal(rl_rank_before(&rank[i], &rank[j]), i < j);
}

/* Pushes until there is no memory; returns how many got in. */
static int push_some(rl_heap *heap, rl_arena *arena, item *list)
{
    jmp_buf out;
    volatile int pushed = 0;
    arena->bail = &out;
    if (setjmp(out) == 0)
        for (; pushed < ITEMS; pushed++)
            rl_heap_push(heap, arena, &list[pushed].rank);
    return pushed;
}

static void without_memory_it_is_as_it_was(void **state)
{
    (void)state;
    static item list[ITEMS];
    bool whole = false;
    fill(list, ITEMS, 50, 3);
    for (size_t pieces = 0; !whole; pieces++) {
        size_t left = pieces;
        rl_arena arena = make(&left);
        rl_heap heap = {0};
        int pushed = push_some(&heap, &arena, list);
        whole = pushed == ITEMS;
        assert_true(pieces > 0 || pushed == 0);
        assert_int_equal(heap.count, pushed);
        const item *before = NULL;
        for (int i = 0; i < pushed; i++) {
            const item *own = (const item *)rl_heap_pop(&heap);
            assert_true(before == NULL || order(before, own) <= 0);
            before = own;
        }
        rl_arena_free(&arena);
        assert_true(pieces < 100);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_comes_out_is_sorted),
        cmocka_unit_test(the_first_comes_out_at_any_time),
        cmocka_unit_test(parts_of_a_rank_count_in_turn),
        cmocka_unit_test(without_memory_it_is_as_it_was),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

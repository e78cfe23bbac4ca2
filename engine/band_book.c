/* band_book.c: a trie of rows over the bits of their keys' hashes.
 *
 * Two bits of the hash choose the child, the highest first; a hash that is used up goes on
 * with zeros, so that keys of one hash stand below each other.
 *
 * Invariant: a node is complete before a link shows it (release and acquire);
 * a link changes once, from NULL; nothing is taken out.
 */
#include "band_book.h"

#include <assert.h>
#include <math.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <string.h>

enum { BITS = 2, CHILDREN = 1 << BITS };

typedef struct entry entry;
typedef _Atomic(entry *) link;

struct entry {
    link child[CHILDREN];
    uint64_t hash;
    int words;
    double number[];           /* the key's words, then the row */
};

struct rl_band_book {
    rl_allocator allocator;
    size_t bound;
    atomic_size_t used;
    link root;
};

rl_band_book *rl_band_book_make(rl_arena *arena, size_t bound)
{
    rl_band_book *book = rl_new(arena, rl_band_book);
    book->allocator = arena->allocator;
    book->bound = bound;
    atomic_init(&book->used, 0);
    atomic_init(&book->root, NULL);
    return book;
}

/* As deep as the trie: half the bits of a hash, and the keys that share a whole one. */
static void give(const rl_allocator *allocator, entry *e)
{
    if (e == NULL)
        return;
    for (int i = 0; i < CHILDREN; i++)
        give(allocator, atomic_load_explicit(&e->child[i], memory_order_relaxed));
    allocator->give(allocator->user, e);
}

void rl_band_book_free(rl_band_book *book)
{
    if (book != NULL)
        give(&book->allocator, atomic_load_explicit(&book->root, memory_order_acquire));
}

/* Each step is one to one in what came before and in the word: two keys of one length meet by chance only. */
uint64_t rl_band_hash(const double *word, int words)
{
    uint64_t hash = (uint64_t)words;
    for (int i = 0; i < words; i++) {
        uint64_t bits;
        memcpy(&bits, &word[i], sizeof bits);
        hash = (hash ^ bits) * UINT64_C(0x9e3779b97f4a7c15);
        hash ^= hash >> 32;
    }
    return hash * UINT64_C(0x9e3779b97f4a7c15);   /* the highest bits are used first */
}

static bool is_of(const entry *e, const rl_band_key *key)
{
    return e->hash == key->hash && e->words == key->words
        && memcmp(e->number, key->word, (size_t)key->words * sizeof *key->word) == 0;
}

/* Walks down from *at with what is left of the hash: to the entry of the key,
 * or to the empty link where it belongs (NULL). */
static entry *descend(link **at, uint64_t *rest, const rl_band_key *key)
{
    entry *e;
    while ((e = atomic_load_explicit(*at, memory_order_acquire)) != NULL && !is_of(e, key)) {
        *at = &e->child[*rest >> (64 - BITS)];
        *rest <<= BITS;
    }
    return e;
}

const double *rl_band_book_look(rl_band_book *book, const rl_band_key *key)
{
    link *at = &book->root;
    uint64_t rest = key->hash;
    const entry *e = descend(&at, &rest, key);
    return e == NULL ? NULL : e->number + e->words;
}

static bool is_sound(const double *word, int words)
{
    for (int i = 0; i < words; i++)
        if (isnan(word[i]) || (signbit(word[i]) && !(word[i] < 0)))
            return false;
    return true;
}

/* Bytes are counted before they are taken, so that threads together keep to the bound. */
static entry *take(rl_band_book *book, size_t size)
{
    size_t before = atomic_fetch_add_explicit(&book->used, size, memory_order_relaxed);
    entry *e = NULL;
    if (before <= book->bound && size <= book->bound - before)
        e = book->allocator.take(book->allocator.user, size);
    if (e == NULL)
        atomic_fetch_sub_explicit(&book->used, size, memory_order_relaxed);
    return e;
}

static void give_back(rl_band_book *book, entry *e, size_t size)
{
    book->allocator.give(book->allocator.user, e);
    atomic_fetch_sub_explicit(&book->used, size, memory_order_relaxed);
}

static void fill(entry *e, const rl_band_key *key, const double *row, int numbers)
{
    for (int i = 0; i < CHILDREN; i++)
        atomic_init(&e->child[i], NULL);
    e->hash = key->hash;
    e->words = key->words;
    memcpy(e->number, key->word, (size_t)key->words * sizeof *key->word);
    memcpy(e->number + key->words, row, (size_t)numbers * sizeof *row);
}

const double *rl_band_book_put(rl_band_book *book, const rl_band_key *key, const double *row, int numbers)
{
    assert(key->words > 0 && numbers > 0 && is_sound(key->word, key->words));
    assert(key->hash == rl_band_hash(key->word, key->words));
    size_t size = sizeof(entry) + (size_t)(key->words + numbers) * sizeof(double);
    link *at = &book->root;
    uint64_t rest = key->hash;
    entry *own = NULL, *there = descend(&at, &rest, key);
    if (there == NULL) {
        own = take(book, size);
        if (own == NULL)
            return NULL;
        fill(own, key, row, numbers);
    }
    while (there == NULL) {    /* a link that another thread was sooner at leads further down */
        if (atomic_compare_exchange_strong_explicit(at, &there, own, memory_order_release, memory_order_relaxed))
            return own->number + own->words;
        there = descend(&at, &rest, key);
    }
    if (own != NULL)
        give_back(book, own, size);
    return there->number + there->words;
}

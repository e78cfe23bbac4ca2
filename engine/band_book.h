/* band_book.h: rows of meters' bands that were worked out already.
 *
 * A row depends on the vehicle and on a key of numbers alone (showing.c packs
 * it), so that all cases of a model may share it.
 *
 * Invariant: a row that was put in is never changed or moved until the book
 * is freed.  Any number of threads may look and put at once, without waiting
 * for each other.  What finds no memory, or no room within the book's bound,
 * is not kept, and that is all.
 */
#ifndef RL_BAND_BOOK_H
#define RL_BAND_BOOK_H

#include "arena.h"

#include <stdint.h>

typedef struct rl_band_book rl_band_book;

/* Compared by bits: no number of a key is -0 or NaN. */
typedef struct rl_band_key {
    int words;
    const double *word;
    uint64_t hash;             /* of rl_band_hash */
} rl_band_key;

/* The book itself lies in `arena`; its rows are pieces of their own of the
 * arena's allocator, `bound` bytes at most. */
rl_band_book *rl_band_book_make(rl_arena *arena, size_t bound);
/* Gives the rows back; NULL is allowed. */
void rl_band_book_free(rl_band_book *book);

uint64_t rl_band_hash(const double *word, int words);
/* The row of that key, or NULL. */
const double *rl_band_book_look(rl_band_book *book, const rl_band_key *key);
/* Keeps a copy of the row and gives what the book has for the key: that copy,
 * or the row of another thread that was sooner; NULL: nothing is kept. */
const double *rl_band_book_put(rl_band_book *book, const rl_band_key *key, const double *row, int numbers);

#endif

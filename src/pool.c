/* pool.c: see pool.h.  Invariant: a piece knows its size in the head before it, which
 * keeps what follows aligned for any type. */
#include "pool.h"

#include <assert.h>
#include <stdint.h>
#include <stdlib.h>

struct pool_piece {
    size_t size;            /* index of the power of two; POOL_SIZES: not kept */
    pool_piece *next;       /* while it is spare */
};

enum { HEAD = 2 * sizeof(max_align_t), LEAST = 64 };
static_assert(sizeof(pool_piece) <= HEAD, "a head has room for a piece's own words");

/* The smallest power of two from LEAST on that holds `bytes`. */
static size_t size_of(size_t bytes)
{
    size_t size = 0;
    while (size < POOL_SIZES && (size_t)LEAST << size < bytes)
        size++;
    return size;
}

void *pool_take(void *user, size_t size)
{
    pool *p = user;
    if (size > SIZE_MAX - HEAD)
        return NULL;
    size_t index = size_of(size + HEAD);
    pool_piece *piece = index < POOL_SIZES ? p->spare[index] : NULL;
    if (piece != NULL)
        p->spare[index] = piece->next;
    else
        piece = malloc(index < POOL_SIZES ? (size_t)LEAST << index : size + HEAD);
    if (piece == NULL)
        return NULL;
    piece->size = index;
    return (char *)piece + HEAD;
}

void pool_give(void *user, void *given)
{
    pool *p = user;
    if (given == NULL)
        return;
    pool_piece *piece = (pool_piece *)(void *)((char *)given - HEAD);
    assert(piece->size <= POOL_SIZES);
    if (piece->size == POOL_SIZES) {
        free(piece);
        return;
    }
    piece->next = p->spare[piece->size];
    p->spare[piece->size] = piece;
}

void pool_free(pool *p)
{
    for (size_t i = 0; i < POOL_SIZES; i++)
        while (p->spare[i] != NULL) {
            pool_piece *piece = p->spare[i];
            p->spare[i] = piece->next;
            free(piece);
        }
}

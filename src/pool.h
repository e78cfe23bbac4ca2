/* pool.h: memory of one thread that is asked for the same sizes again and again.
 *
 * Invariant: a pool belongs to one thread; what is given back is kept for the next
 * need, but for large pieces, and all goes back to the system with the pool.
 */
#ifndef POOL_H
#define POOL_H

#include <stddef.h>

enum { POOL_SIZES = 18 };

typedef struct pool_piece pool_piece;
typedef struct pool {
    pool_piece *spare[POOL_SIZES];  /* by size: powers of two */
} pool;

/* The allocator of rl_settings, `user` being the pool. */
void *pool_take(void *user, size_t size);
void pool_give(void *user, void *piece);
/* Everything has been given back. */
void pool_free(pool *p);

#endif

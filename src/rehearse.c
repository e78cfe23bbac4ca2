/* rehearse.c: drawn faults played on several threads.
 *
 * Invariant: numbers are handed out in order, each is played by itself on a context
 * of its thread, and its result stands at its number: who played it leaves no trace.
 */
#include "rehearse.h"

#include "pool.h"
#include "text.h"

#include <assert.h>
#include <pthread.h>
#include <stdlib.h>
#include <unistd.h>

typedef struct crew {
    const rehearsal *r;
    rl_played *played;
    pthread_mutex_t lock;       /* of what follows */
    size_t next, plays;
    size_t failed;              /* the lowest number that failed */
    rl_status status;
} crew;

size_t rehearse_processors(void)
{
    long count = sysconf(_SC_NPROCESSORS_ONLN);
    return count > 0 ? (size_t)count : 1;
}

/* The next number; false: there is none, or something failed. */
static bool next_number(crew *c, size_t *number)
{
    pthread_mutex_lock(&c->lock);
    bool more = c->next < c->r->faults && c->status == RL_OK;
    if (more)
        *number = c->next++;
    pthread_mutex_unlock(&c->lock);
    return more;
}

static void finish(crew *c, size_t number, rl_status status)
{
    pthread_mutex_lock(&c->lock);
    if (status != RL_OK && (c->status == RL_OK || number < c->failed)) {
        c->status = status;
        c->failed = number;
    }
    c->plays++;
    if (status == RL_OK && c->r->done != NULL)
        c->r->done(c->r->user, c->plays);
    pthread_mutex_unlock(&c->lock);
}

static void play(crew *c, rl_rehearsal *with)
{
    size_t number;
    while (next_number(c, &number))
        finish(c, number, rl_rehearsal_play(with, number, &c->played[number]));
}

/* One thread's part: a context that says nothing, with memory of its own. */
static void *work(void *argument)
{
    crew *c = argument;
    pool memory = { { NULL } };
    rl_context *context = NULL;
    rl_rehearsal *with = NULL;
    const rl_settings settings = {
        .take = pool_take, .give = pool_give, .memory_user = &memory, .memory_bound = c->r->memory_mib << 20,
    };
    rl_status status = rl_context_new(&settings, &context);
    if (status == RL_OK)
        status = rl_rehearsal_new(context, c->r->model, &c->r->rule, c->r->seed, &with);
    if (status == RL_OK)
        play(c, with);
    else
        finish(c, 0, status);
    rl_rehearsal_free(with);
    rl_context_free(context);
    pool_free(&memory);
    return NULL;
}

rl_status rehearse(const rehearsal *r, rl_played *played)
{
    crew c = { .r = r, .played = played, .status = RL_OK };
    assert(r->threads > 0 && r->faults > 0);
    size_t started = 0, wanted = r->threads < r->faults ? r->threads : r->faults;
    pthread_t *thread = tool_take(wanted * sizeof *thread);
    pthread_mutex_init(&c.lock, NULL);
    while (started + 1 < wanted && pthread_create(&thread[started], NULL, work, &c) == 0)
        started++;
    work(&c);   /* this thread is one of them */
    while (started > 0)
        pthread_join(thread[--started], NULL);
    pthread_mutex_destroy(&c.lock);
    free(thread);
    return c.status;
}

/* draw_random.c: streams of random numbers.  Invariant: see draw_random.h. */
#include "draw_random.h"

#include "reading.h"

#include <assert.h>
#include <math.h>

#define FARTHEST 40.0   /* no normal number is drawn beyond it: 1e-348 */

static const uint64_t GOLDEN = 0x9e3779b97f4a7c15u;

/* splitmix64's output function. */
static uint64_t mixed(uint64_t z)
{
    z = (z ^ z >> 30) * 0xbf58476d1ce4e5b9u;
    z = (z ^ z >> 27) * 0x94d049bb133111ebu;
    return z ^ z >> 31;
}

static uint64_t turned(uint64_t x, int by)
{
    return x << by | x >> (64 - by);
}

rl_random rl_random_make(const uint64_t *key, int words)
{
    rl_random random;
    uint64_t state = 0;
    for (int i = 0; i < words; i++)
        state = mixed(state + GOLDEN) ^ mixed(key[i] + GOLDEN * (uint64_t)(i + 1));
    for (int i = 0; i < 4; i++)
        random.word[i] = mixed(state += GOLDEN);
    return random;
}

uint64_t rl_random_next(rl_random *random)
{
    uint64_t *s = random->word, result = turned(s[1] * 5, 7) * 9, kept = s[1] << 17;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= kept;
    s[3] = turned(s[3], 45);
    return result;
}

double rl_random_unit(rl_random *random)
{
    return (double)(rl_random_next(random) >> 11) * 0x1p-53;
}

int rl_random_pick(rl_random *random, const double *p, int count)
{
    double u = rl_random_unit(random), sum = 0;
    int last = 0;
    assert(count > 0);
    for (int i = 0; i < count; i++) {
        if (!(p[i] > 0))
            continue;
        last = i;
        sum += p[i];
        if (u < sum)
            return i;
    }
    return last;   /* rounding left the sum below 1 */
}

/* The z in [low, high] below which lies the share u of what lies there.  The
 * side of 0 with more of the interval is the left: tails keep their digits. */
static double share_below(double u, double low, double high)
{
    if (low + high > 0)
        return -share_below(1 - u, -high, -low);
    double from = rl_normal_below(low), want = from + u * (rl_normal_below(high) - from);
    for (;;) {
        double z = low + 0.5 * (high - low);
        if (!(z > low && z < high))
            return z;
        if (rl_normal_below(z) < want)
            low = z;
        else
            high = z;
    }
}

double rl_random_normal(rl_random *random, double low, double high)
{
    double u = rl_random_unit(random) + 0x1p-54;   /* never 0 or 1 */
    assert(low <= high);
    return share_below(u, fmin(fmax(low, -FARTHEST), FARTHEST), fmax(fmin(high, FARTHEST), -FARTHEST));
}

uint64_t rl_random_word(const char *text)
{
    uint64_t word = 0xcbf29ce484222325u;
    for (; *text != '\0'; text++)
        word = (word ^ (unsigned char)*text) * 0x100000001b3u;
    return word;
}

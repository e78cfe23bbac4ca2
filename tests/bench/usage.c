/* usage.c: time and memory of this process.  Invariant: the program ends where they cannot be read. */
#include "usage.h"

#include "held/disk.h"

#include <sys/resource.h>

static struct rusage usage(void)
{
    struct rusage used;
    if (getrusage(RUSAGE_SELF, &used) != 0)
        disk_must(RL_USAGE, "getrusage");
    return used;
}

double usage_seconds(void)
{
    struct rusage used = usage();
    return (double)used.ru_utime.tv_sec + 1e-6 * (double)used.ru_utime.tv_usec;
}

double usage_megabytes(void)
{
    return 1.024e-3 * (double)usage().ru_maxrss;
}

/* usage.h: what this process has used so far. */
#ifndef BENCH_USAGE_H
#define BENCH_USAGE_H

/* User CPU seconds, and the most memory it had, in MB (10^6 bytes). */
double usage_seconds(void);
double usage_megabytes(void);

#endif

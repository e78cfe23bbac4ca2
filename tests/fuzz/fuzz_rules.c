/* fuzz_rules.c: libFuzzer's target for rule files; what it promises stands in held/feed.h. */
#include "held/feed.h"

#include <stdio.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const char *fault = feed_rules(data, size);
    if (fault != NULL) {
        fprintf(stderr, "%s\n", fault);
        abort();
    }
    return 0;
}

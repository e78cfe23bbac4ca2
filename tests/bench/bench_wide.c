/* bench_wide.c: seconds and memory of one large case.
 *
 * bench_wide RULES CASES: reads the rules and the first case, and answers it; says the
 * user CPU seconds of each step and the most memory that the process had.
 */
#include "held/disk.h"
#include "usage.h"

#include <stdio.h>

int main(int count, char **word)
{
    if (count != 3) {
        fprintf(stderr, "usage: bench_wide RULES CASES\n");
        return 2;
    }
    rl_context *context = disk_context("rules");
    double start = usage_seconds();
    rl_model *model = disk_model(context, word[1]);
    double ruled = usage_seconds();
    rl_case *c = disk_case(context, model, word[2]);
    double said = usage_seconds(), before = usage_megabytes();
    const rl_answer *answer = NULL;
    rl_status status = rl_case_answer(c, &answer);
    double answered = usage_seconds();
    printf("%s: rules %.3f s, case %.3f s, answer %.3f s; %.1f MB before the answer, %.1f MB at most; lines %zu",
           rl_status_text(status), ruled - start, said - ruled, answered - said, before, usage_megabytes(), rl_case_lines(c));
    if (status == RL_OK)
        printf("; width %zu, %g cells%s", answer->width, answer->cells, answer->bounded ? ", bounded" : "");
    printf("\n");
    return status == RL_OK ? 0 : 1;
}

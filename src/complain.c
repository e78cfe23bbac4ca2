/* complain.c: see complain.h.  Invariant: what is said has a place in the rules. */
#include "complain.h"

#include "report.h"

static bool has_load(const rl_model *model)
{
    size_t elements = rl_model_vehicle(model)->elements;
    for (size_t i = 0; i < elements; i++)
        if (rl_model_element(model, i)->sort == RL_LOAD)
            return true;
    return false;
}

bool complain_can(const rl_model *model, const char *rules)
{
    static const char said[] = "nothing of this vehicle can be complained of: the rules have no load and no symptom";
    if (has_load(model) || rl_model_vehicle(model)->symptoms > 0)
        return true;
    rl_report report = { .severity = RL_ERROR, .path = rules, .line = 1, .column = 1, .width = 1, .text = said };
    fflush(stdout);
    report_print(stderr, &report);
    return false;
}

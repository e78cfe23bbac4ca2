/* status.h: the exit statuses of the tool.  Scripts rely on them: never change one. */
#ifndef STATUS_H
#define STATUS_H

enum {
    TOOL_DONE = 0,      /* done */
    TOOL_INPUT = 1,     /* something in the input is at fault, and was said */
    TOOL_USAGE = 2,     /* wrong usage */
    TOOL_MACHINE = 3    /* the machine failed us: no memory, no space */
};

/* The graver of two statuses, for batches that go on after a fault. */
static inline int status_worse(int a, int b)
{
    return a > b ? a : b;
}

#endif

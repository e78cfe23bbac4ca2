/* eight.h: the eight findings of the demo's case M-01. The names stand on the
 * large vehicle too, so that the same findings can be said of both.
 */
#ifndef BENCH_EIGHT_H
#define BENCH_EIGHT_H

static const char *const eight_lines[] = {
    "look rear_left corroded",
    "stop_left dim",
    "ind_rear_left dim",
    "reverse_left dim",
    "plate_lamp dim",
    "pull ind_rear_left to plate_lamp present",
    "others work",
    "drop stop_left from rear_left 2.9 V",
};
enum { EIGHT = sizeof eight_lines / sizeof *eight_lines };
static const char ninth_line[] = "drop ind_rear_left from rear_left 2.6 V";

#endif

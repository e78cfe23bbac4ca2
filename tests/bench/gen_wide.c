/* gen_wide.c: writes a wide vehicle and a case of it: 100 points, 60 splices, 1,000
 * loads, 200 feeds, `others work` and 160 abnormal or doubtful findings.
 *
 * gen_wide plain|random RULES CASES.  `plain`: loads that share a splice or point tend
 * to share feeds, as wiring looms are made, and findings come in groups.  `random`:
 * loads, feeds and findings are scattered, which nobody would build.
 * Invariant: the same words give the same bytes on every machine.
 */
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { POINTS = 100, SPLICES = 60, LOADS = 1000, FEEDS = 200, FINDINGS = 160, RAILS = 6, CLUSTER = 4 };
enum { GROUPS = POINTS + SPLICES };

static uint64_t seed = 20270311;

static unsigned draw(unsigned below)
{
    seed = seed * 6364136223846793005u + 1442695040888963407u;
    return (unsigned)((seed >> 33) % below);
}

static FILE *open_out(const char *path)
{
    FILE *out = fopen(path, "w");
    if (out == NULL) {
        perror(path);
        exit(1);
    }
    return out;
}

/* Points: the battery post, rails on it, and the rest on some rail. */
static void put_points(FILE *out)
{
    fprintf(out, "include \"trade.gnd\"\nvehicle wide supply 25.2 V spread 4%%\npoint p0 class battery\n");
    for (int i = 1; i <= RAILS; i++)
        fprintf(out, "point p%d class frame_stud  returns through p0 by 35 mm2 1 m\n", i);
    for (int i = RAILS + 1; i < POINTS; i++)
        fprintf(out, "point p%d class splash  returns through p%u\n", i, 1 + draw(RAILS));
}

/* Loads hang on the points behind the rails and on the splices. */
static void put_splices(FILE *out)
{
    for (unsigned i = 0; i < SPLICES; i++)
        fprintf(out, "splice s%u class wet_crimp  returns through p%u by 2.5 mm2 0.4 m\n", i,
                RAILS + 1 + draw(POINTS - RAILS - 1));
}

static void put_feeds(FILE *out)
{
    for (unsigned i = 0; i < FEEDS; i++)
        fprintf(out, "feed f%u class fused  rated 15 A\n", i);
}

static void put_group(FILE *out, unsigned group)
{
    if (group < SPLICES)
        fprintf(out, "s%u", group);
    else
        fprintf(out, "p%u", RAILS + 1 + (group - SPLICES) % (POINTS - RAILS - 1));
}

/* Load i belongs to group i mod GROUPS; one in eight is fed from elsewhere. */
static void put_loads(FILE *out, bool scattered)
{
    for (unsigned i = 0; i < LOADS; i++) {
        unsigned group = scattered ? draw(GROUPS) : i % GROUPS;
        unsigned feed = scattered ? draw(FEEDS) : group * FEEDS / GROUPS;
        if (!scattered && draw(8) == 0)
            feed = (feed + 1 + draw(3)) % FEEDS;
        fprintf(out, "load l%u kind lamp  draws %u W  returns through ", i, 5 + 8 * draw(3));
        put_group(out, group);
        fprintf(out, " by 1 mm2 0.8 m  fed by f%u\n", feed);
    }
}

static void put_finding(FILE *out, unsigned load)
{
    static const char *const seen[] = {"dim", "dim", "flickers", "dead", "dim or flickers", "normal sure 80%",
                                       "not normal", "dim sure 90%"};
    fprintf(out, "l%u %s\n", load, seen[draw(8)]);
}

/* Groups of loads on one splice or point misbehave together; scattered: any loads do. */
static void put_case(FILE *out, bool scattered)
{
    static bool said[LOADS];
    fprintf(out, "case \"wide\" on wide\n");
    unsigned count = 0;
    while (count < FINDINGS) {
        unsigned first = scattered ? draw(LOADS) : draw(GROUPS), members = scattered ? 1 : CLUSTER;
        for (unsigned m = 0; m < members && count < FINDINGS; m++) {
            unsigned load = (first + m * GROUPS) % LOADS;
            if (said[load])
                continue;
            said[load] = true;
            put_finding(out, load);
            count++;
        }
    }
    fprintf(out, "others work\n");
}

int main(int count, char **word)
{
    if (count != 4 || (strcmp(word[1], "plain") != 0 && strcmp(word[1], "random") != 0)) {
        fprintf(stderr, "usage: gen_wide plain|random RULES CASES\n");
        return 2;
    }
    bool scattered = strcmp(word[1], "random") == 0;
    FILE *rules = open_out(word[2]);
    put_points(rules);
    put_splices(rules);
    put_feeds(rules);
    put_loads(rules, scattered);
    FILE *cases = open_out(word[3]);
    put_case(cases, scattered);
    return fclose(rules) == 0 && fclose(cases) == 0 ? 0 : 1;
}

/* grammar.y: the shape of every statement, and nothing of its meaning.
 *
 * Invariant: every action is one call to a builder of ast.c.  All lists are
 * left-recursive and nothing nests, so the stack never grows past its first
 * size.  %expect 0: the language is LALR(1) as it stands, and a conflict would
 * mean that two readings of a line exist.
 */
%require "3.8"
%expect 0
%define api.pure full
%define api.prefix {rl_grammar_}
%define api.location.type {rl_span}
%define parse.error custom
%define parse.lac full
%locations
%param {struct rl_parser *p}
%initial-action { @$ = (rl_span){p->source, 0, 0, p->line, 1}; }

%code requires {
#include "builder.h"
}

%code {
#include <stddef.h>

/* Left recursion alone: a deeper stack than the first is no text of ours. */
#define YYINITDEPTH 100
#define YYMAXDEPTH 100
/* The stacks never leave their first room: see above. */
static inline void *no_more(size_t size)
{
    (void)size;
    return NULL;
}
static inline void nothing_to_give(void *piece)
{
    (void)piece;
}
#define YYMALLOC no_more
#define YYFREE nothing_to_give
#define YYLLOC_DEFAULT(here, rhs, n)                        \
    do {                                                    \
        (here) = YYRHSLOC(rhs, (n) > 0 ? 1 : 0);            \
        if ((n) > 0)                                        \
            (here).end = YYRHSLOC(rhs, n).end;              \
        else                                                \
            (here).begin = (here).end;                      \
    } while (0)

static int rl_grammar_lex(RL_GRAMMAR_STYPE *value, rl_span *span, rl_parser *p);
static void rl_grammar_error(const rl_span *span, rl_parser *p, const char *text);
}

%union {
    const char *text;
    ast_state state;
    ast_side side;
    ast_word *word;
    ast_word_list words;
    ast_number *number;
    ast_number_list numbers;
    ast_cell *cell;
    ast_cell_list cells;
    ast_path *path;
    ast_path_list paths;
    ast_condition *condition;
    ast_condition_list conditions;
    ast_clause *clause;
    ast_clause_list clauses;
    ast_seen seen;
    ast_crossed crossed;
    ast_stmt *stmt;
}

/* Descriptions first, then words: the order in which an error lists them. */
%token <text> NAME "a name" WIRE_NAME "a wire" STRING "a string" UNIT "a unit"
%token <number> NUMBER "a number" GAUGE "a gauge"
%token PERCENT "%" COMMA ","
/* Stand in no rule: what the lexer has complained of, and a.b that is no wire. */
%token BAD "what cannot be read" DOTTED "a dotted word"

%token <text>
    LANGUAGE "language" INCLUDE "include" REMOVE "remove" VEHICLE "vehicle" CLASS "class" KIND "kind"
    AREA "area" POINT "point" SPLICE "splice" CONNECTOR "connector" WIRE "wire" FEED "feed" LOAD "load"
    SYMPTOM "symptom" INSPECTION "inspection" BACKFEED "backfeed" PULL "pull" GRADES "grades"
    JOINT "joint" METER "meter" BYPASS "bypass" JUMPER "jumper" SWAP "swap"
    CASE "case" OCCASION "occasion" OTHERS "others" DROP "drop" RESISTANCE "resistance"
    SUPPLY "supply" CONTINUITY "continuity" OPENED "opened" FOUND "found" EXPECT "expect"
    BEHAVES "behaves" DRAWS "draws" RETURNS "returns" THROUGH "through" VIA "via" BY "by"
    FED "fed" IN "in" OPERATED "operated" RATED "rated" TORQUE "torque"
    SOUND "sound" LOOSE "loose" CORRODED "corroded" OPEN "open" FAILED "failed"
    QUIET "quiet" LIMIT "limit" LEAKS "leaks" SPREAD "spread" REVISION "revision"
    WHEN "when" SHORT "short" OTHERWISE "otherwise" RETURN "return"
    ACCESS "access" CHECK "check" SHOWS "shows" READS "reads" PLUS "plus" MISREAD "misread"
    ZERO "zero" BANDS "bands" BEEPS "beeps" BELOW "below" ABOVE "above" UP "up"
    SURE "sure" SAID "said" BATTERY "battery" WITH "with" REPAIRED "repaired"
    FROM "from" TO "to" AT "at" ALSO "also" OF "of" ON "on" OR "or" AND "and" NOT "not"
    PRESENT "present" ABSENT "absent" WORK "work" NOTHING "nothing" ONLY "only" LEADS "leads"
    PROBE "probe" DISCONNECT "disconnect"
    VOLTS "volts" OHMS "ohms" BEEPER "beeper" SILENT "silent"
    REPAIR "repair" DO "do" NOTE "note" CAUTION "caution" SOURCE "source"
%token END "the end of the statement"

%type <text> free_word reserved_word label
%type <word> name element any_word outcome sort test meter_volts meter_ohms meter_beeper mark beep gap
%type <words> names levels outcomes sorts tests
%type <state> state joint_state fault
%type <side> side
%type <number> figure quantity share
%type <numbers> quantities
%type <cell> row_cell state_cell
%type <cells> row state_row
%type <path> return_path feed_path
%type <paths> return_paths
%type <condition> condition mended
%type <conditions> conditions repairs
%type <clause>
    common forbidding repairing joint_law checking vehicle_clause class_clause kind_clause area_clause
    placed_clause point_clause connector_clause feed_clause load_clause symptom_clause inspection_clause
    cross_clause joint_clause volts_clause ohms_clause beeper_clause action_clause occasion_clause
    sure with at also from_end to_end to_load bound
%type <clauses>
    commons vehicle_clauses class_clauses kind_clauses area_clauses point_clauses connector_clauses
    feed_clauses load_clauses symptom_clauses inspection_clauses cross_clauses joint_clauses volts_clauses
    ohms_clauses beeper_clauses action_clauses occasion_clauses seen_clauses ends drop_clauses
%type <crossed> crossed_clauses
%type <seen> seen marked
%type <stmt> stmt rule evidence

%%

file:
    %empty
  | file stmt END                   { rl_ast_append(p, $stmt); }
  | file error END                  { rl_parse_drop(p); yyerrok; }
  ;

stmt: rule | evidence;

/* ---- names and words ---- */

name:
    NAME                            { $$ = rl_ast_word(p, @$, $1); }
  | free_word                       { $$ = rl_ast_word(p, @$, $1); }
  ;
free_word: VOLTS | OHMS | BEEPER | SILENT;

element:
    name
  | WIRE_NAME                       { $$ = rl_ast_word(p, @$, $1); }
  ;

any_word:
    name
  | reserved_word                   { $$ = rl_ast_word(p, @$, $1); }
  ;
reserved_word:
    LANGUAGE | INCLUDE | REMOVE | VEHICLE | CLASS | KIND | AREA | POINT | SPLICE | CONNECTOR | WIRE | FEED
  | LOAD | SYMPTOM | INSPECTION | BACKFEED | PULL | GRADES | JOINT | METER | BYPASS | JUMPER | SWAP | CASE
  | OCCASION | OTHERS | DROP | RESISTANCE | SUPPLY | CONTINUITY | OPENED | FOUND | EXPECT | BEHAVES | DRAWS
  | RETURNS | THROUGH | VIA | BY | FED | IN | OPERATED | RATED | TORQUE | SOUND | LOOSE | CORRODED | OPEN
  | FAILED | QUIET | LIMIT | LEAKS | SPREAD | REVISION | WHEN | SHORT | OTHERWISE | RETURN | ACCESS | CHECK
  | SHOWS | READS | PLUS | MISREAD | ZERO | BANDS | BEEPS | BELOW | ABOVE | UP | SURE | SAID | BATTERY | WITH
  | REPAIRED | FROM | TO | AT | ALSO | OF | ON | OR | AND | NOT | PRESENT | ABSENT | WORK | NOTHING | ONLY
  | LEADS | PROBE | DISCONNECT | REPAIR | DO | NOTE | CAUTION | SOURCE
  ;

/* A level of a kind or an outcome of an inspection. */
outcome:
    name
  | SOUND                           { $$ = rl_ast_word(p, @$, $1); }
  | LOOSE                           { $$ = rl_ast_word(p, @$, $1); }
  | CORRODED                        { $$ = rl_ast_word(p, @$, $1); }
  | OPEN                            { $$ = rl_ast_word(p, @$, $1); }
  ;

state:
    fault
  | SOUND                           { $$ = AST_SOUND; }
  | FAILED                          { $$ = AST_FAILED; }
  ;
fault:
    LOOSE                           { $$ = AST_LOOSE; }
  | CORRODED                        { $$ = AST_CORRODED; }
  | OPEN                            { $$ = AST_OPEN; }
  ;
joint_state:
    SOUND                           { $$ = AST_SOUND; }
  | CORRODED                        { $$ = AST_CORRODED; }
  ;
side:
    %empty                          { $$ = AST_BOTH_SIDES; }
  | RETURN                          { $$ = AST_RETURN_SIDE; }
  | FEED                            { $$ = AST_FEED_SIDE; }
  ;

names:
    name                            { $$ = ast_word_one($1); }
  | names COMMA name                { $$ = ast_word_add($1, $3); }
  ;
levels:
    outcome                         { $$ = ast_word_one($1); }
  | levels COMMA outcome            { $$ = ast_word_add($1, $3); }
  ;
outcomes:
    outcome                         { $$ = ast_word_one($1); }
  | outcomes OR outcome             { $$ = ast_word_add($1, $3); }
  ;

sort:
    POINT                           { $$ = rl_ast_word(p, @$, $1); }
  | SPLICE                          { $$ = rl_ast_word(p, @$, $1); }
  | CONNECTOR                       { $$ = rl_ast_word(p, @$, $1); }
  | WIRE                            { $$ = rl_ast_word(p, @$, $1); }
  | FEED                            { $$ = rl_ast_word(p, @$, $1); }
  | LOAD                            { $$ = rl_ast_word(p, @$, $1); }
  ;
sorts:
    sort                            { $$ = ast_word_one($1); }
  | sorts COMMA sort                { $$ = ast_word_add($1, $3); }
  ;

test:
    PROBE                           { $$ = rl_ast_word(p, @$, $1); }
  | BYPASS                          { $$ = rl_ast_word(p, @$, $1); }
  | JUMPER                          { $$ = rl_ast_word(p, @$, $1); }
  | SWAP                            { $$ = rl_ast_word(p, @$, $1); }
  | DISCONNECT                      { $$ = rl_ast_word(p, @$, $1); }
  ;
tests:
    test                            { $$ = ast_word_one($1); }
  | tests COMMA test                { $$ = ast_word_add($1, $3); }
  ;

label:
    %empty                          { $$ = NULL; }
  | STRING
  ;

/* ---- numbers ---- */

figure: NUMBER | GAUGE;

quantity:
    figure NAME                     { if (($$ = rl_ast_quantity(p, @$, $1, rl_ast_word(p, @2, $2))) == NULL) YYERROR; }
  | figure UNIT                     { if (($$ = rl_ast_quantity(p, @$, $1, rl_ast_word(p, @2, $2))) == NULL) YYERROR; }
  | NUMBER PERCENT                  { $$ = rl_ast_percent(p, @$, $1); }
  ;
quantities:
    quantity                        { $$ = ast_number_one($1); }
  | quantities COMMA quantity       { $$ = ast_number_add($1, $3); }
  ;

/* A probability, a spread in percent, or a share of a reading. */
share:
    NUMBER
  | NUMBER PERCENT                  { $$ = rl_ast_percent(p, @$, $1); }
  ;

row_cell: outcome share             { $$ = rl_ast_cell(p, @$, $1, $2); };
row:
    row_cell                        { $$ = ast_cell_one($1); }
  | row row_cell                    { $$ = ast_cell_add($1, $2); }
  ;
state_cell:
    SOUND share                     { $$ = rl_ast_cell(p, @$, rl_ast_word(p, @1, $1), $2); }
  | LOOSE share                     { $$ = rl_ast_cell(p, @$, rl_ast_word(p, @1, $1), $2); }
  | CORRODED share                  { $$ = rl_ast_cell(p, @$, rl_ast_word(p, @1, $1), $2); }
  | OPEN share                      { $$ = rl_ast_cell(p, @$, rl_ast_word(p, @1, $1), $2); }
  | FAILED share                    { $$ = rl_ast_cell(p, @$, rl_ast_word(p, @1, $1), $2); }
  ;
state_row:
    state_cell                      { $$ = ast_cell_one($1); }
  | state_row state_cell            { $$ = ast_cell_add($1, $2); }
  ;

/* ---- rules ---- */

rule:
    LANGUAGE NUMBER                 { if (($$ = rl_ast_language(p, @$, $2)) == NULL) YYERROR; }
  | INCLUDE STRING                  { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_INCLUDE, .text = $2}); }
  | REMOVE name                     { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_REMOVE, .name = $2}); }
  | VEHICLE any_word label vehicle_clauses[c]       { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_VEHICLE, .name = $2, .label = $3, .clauses = $c.first}); }
  | CLASS any_word label class_clauses[c]           { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_CLASS, .name = $2, .label = $3, .clauses = $c.first}); }
  | KIND any_word label kind_clauses[c]             { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_KIND, .name = $2, .label = $3, .clauses = $c.first}); }
  | AREA any_word label area_clauses[c]             { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_AREA, .name = $2, .label = $3, .clauses = $c.first}); }
  | POINT name label point_clauses[c]               { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_POINT, .name = $2, .label = $3, .clauses = $c.first}); }
  | SPLICE name label point_clauses[c]              { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_SPLICE, .name = $2, .label = $3, .clauses = $c.first}); }
  | CONNECTOR name label connector_clauses[c]       { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_CONNECTOR, .name = $2, .label = $3, .clauses = $c.first}); }
  | FEED name label feed_clauses[c]                 { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_FEED, .name = $2, .label = $3, .clauses = $c.first}); }
  | LOAD name label load_clauses[c]                 { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_LOAD, .name = $2, .label = $3, .clauses = $c.first}); }
  | SYMPTOM name label symptom_clauses[c]           { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_SYMPTOM, .name = $2, .label = $3, .clauses = $c.first}); }
  | INSPECTION name label inspection_clauses[c]     { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_INSPECTION, .name = $2, .label = $3, .clauses = $c.first}); }
  | BACKFEED cross_clauses[c]       { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_BACKFEED_RULE, .clauses = $c.first}); }
  | PULL cross_clauses[c]           { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_PULL_RULE, .clauses = $c.first}); }
  | GRADES quantities commons[c]    { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_GRADES, .number = $2.first, .clauses = $c.first}); }
  | JOINT joint_clauses[c]          { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_JOINT, .state = $c.first->state, .clauses = $c.first}); }
  | METER meter_volts volts_clauses[c]              { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_METER, .name = $2, .clauses = $c.first}); }
  | METER meter_ohms ohms_clauses[c]                { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_METER, .name = $2, .clauses = $c.first}); }
  | METER meter_beeper beeper_clauses[c]            { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_METER, .name = $2, .clauses = $c.first}); }
  | BYPASS action_clauses[c]        { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_BYPASS_RULE, .clauses = $c.first}); }
  | JUMPER action_clauses[c]        { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_JUMPER_RULE, .clauses = $c.first}); }
  | SWAP action_clauses[c]          { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_SWAP_RULE, .clauses = $c.first}); }
  ;

meter_volts: VOLTS                  { $$ = rl_ast_word(p, @$, $1); };
meter_ohms: OHMS                    { $$ = rl_ast_word(p, @$, $1); };
meter_beeper: BEEPER                { $$ = rl_ast_word(p, @$, $1); };

common:
    NOTE STRING                     { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_NOTE, .text = $2}); }
  | CAUTION STRING                  { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_CAUTION, .text = $2}); }
  | SOURCE STRING                   { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_SOURCE, .text = $2}); }
  ;
commons:
    %empty                          { $$ = (ast_clause_list){NULL, NULL}; }
  | commons common                  { $$ = ast_clause_add($1, $2); }
  ;

forbidding: DO NOT tests            { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_DONOT, .words = $3.first}); };
repairing: REPAIR quantity label    { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_REPAIR, .number = $2, .text = $3}); };
checking: CHECK quantity            { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_CHECK, .number = $2}); };
joint_law:
    joint_state quantity            { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_JOINT, .state = $1, .number = $2}); }
  | joint_state quantity SPREAD share
                                    { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_JOINT, .state = $1, .number = $2, .spread = $4}); }
  ;

vehicle_clauses:
    %empty                          { $$ = (ast_clause_list){NULL, NULL}; }
  | vehicle_clauses vehicle_clause  { $$ = ast_clause_add($1, $2); }
  ;
vehicle_clause:
    common
  | REVISION NUMBER                 { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_REVISION, .number = $2}); }
  | SUPPLY quantity                 { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_SUPPLY, .number = $2}); }
  | SUPPLY quantity SPREAD share    { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_SUPPLY, .number = $2, .spread = $4}); }
  ;

class_clauses:
    %empty                          { $$ = (ast_clause_list){NULL, NULL}; }
  | class_clauses class_clause      { $$ = ast_clause_add($1, $2); }
  ;
class_clause:
    common | repairing
  | fault share                     { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_STATE, .state = $1, .number = $2}); }
  | QUIET share                     { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_QUIET, .number = $2}); }
  | JOINT joint_law                 { $$ = rl_ast_extend($2, @$); }
  | LIMIT quantity                  { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_LIMIT, .number = $2}); }
  | BY quantity quantity            { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_BY, .number = $2, .second = $3}); }
  ;

kind_clauses:
    %empty                          { $$ = (ast_clause_list){NULL, NULL}; }
  | kind_clauses kind_clause        { $$ = ast_clause_add($1, $2); }
  ;
kind_clause:
    common | repairing | checking
  | BEHAVES levels                  { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_BEHAVES, .words = $2.first}); }
  | FAILED share                    { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_FAILED, .number = $2}); }
  | DRAWS quantity                  { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_DRAWS, .number = $2}); }
  | WHEN side fault row             { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_WHEN, .side = $2, .state = $3, .cells = $4.first}); }
  | WHEN FAILED row                 { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_WHEN, .state = AST_FAILED, .cells = $3.first}); }
  | SHORT OF quantity row           { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_SHORT, .number = $3, .cells = $4.first}); }
  | OTHERWISE row                   { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_OTHERWISE, .cells = $2.first}); }
  ;

area_clauses:
    %empty                          { $$ = (ast_clause_list){NULL, NULL}; }
  | area_clauses area_clause        { $$ = ast_clause_add($1, $2); }
  ;
area_clause:
    common | forbidding
  | ACCESS quantity                 { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_ACCESS, .number = $2}); }
  ;

/* What a point, a splice, a connector and a feed share. */
placed_clause:
    common | repairing | forbidding
  | CLASS any_word                  { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_CLASS, .words = $2}); }
  | IN any_word                     { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_IN, .words = $2}); }
  ;

connector_clauses:
    %empty                          { $$ = (ast_clause_list){NULL, NULL}; }
  | connector_clauses connector_clause  { $$ = ast_clause_add($1, $2); }
  ;
connector_clause:
    placed_clause
  | TORQUE quantity                 { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_TORQUE, .number = $2}); }
  ;

point_clauses:
    %empty                          { $$ = (ast_clause_list){NULL, NULL}; }
  | point_clauses point_clause      { $$ = ast_clause_add($1, $2); }
  ;
point_clause:
    connector_clause
  | RETURNS THROUGH return_paths    { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_RETURNS, .path = $3.first}); }
  ;

return_paths:
    return_path                     { $$ = ast_path_one($1); }
  | return_paths OR return_path     { $$ = ast_path_add($1, $3); }
  ;
return_path:
    name                            { $$ = rl_ast_path(p, (ast_path){.parent = $1}, @$); }
  | name VIA names                  { $$ = rl_ast_path(p, (ast_path){.parent = $1, .via = $3.first}, @$); }
  | name BY quantity quantity       { $$ = rl_ast_path(p, (ast_path){.parent = $1, .area = $3, .length = $4}, @$); }
  | name VIA names BY quantity quantity
                                    { $$ = rl_ast_path(p, (ast_path){.parent = $1, .via = $3.first, .area = $5, .length = $6}, @$); }
  ;
feed_path:
    name                            { $$ = rl_ast_path(p, (ast_path){.parent = $1}, @$); }
  | name VIA names                  { $$ = rl_ast_path(p, (ast_path){.parent = $1, .via = $3.first}, @$); }
  ;

feed_clauses:
    %empty                          { $$ = (ast_clause_list){NULL, NULL}; }
  | feed_clauses feed_clause        { $$ = ast_clause_add($1, $2); }
  ;
feed_clause:
    placed_clause
  | RATED quantity                  { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_RATED, .number = $2}); }
  | OPERATED BY name                { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_OPERATED, .words = $3}); }
  | FED BY feed_path                { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_FED, .path = $3}); }
  ;

load_clauses:
    %empty                          { $$ = (ast_clause_list){NULL, NULL}; }
  | load_clauses load_clause        { $$ = ast_clause_add($1, $2); }
  ;
load_clause:
    common | repairing | forbidding
  | KIND any_word                   { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_KIND, .words = $2}); }
  | IN any_word                     { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_IN, .words = $2}); }
  | WIRE CLASS any_word             { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_WIRE_CLASS, .words = $3}); }
  | DRAWS quantity                  { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_DRAWS, .number = $2}); }
  | FAILED share                    { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_FAILED, .number = $2}); }
  | RETURNS THROUGH return_paths    { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_RETURNS, .path = $3.first}); }
  | FED BY feed_path                { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_FED, .path = $3}); }
  ;

symptom_clauses:
    %empty                          { $$ = (ast_clause_list){NULL, NULL}; }
  | symptom_clauses symptom_clause  { $$ = ast_clause_add($1, $2); }
  ;
symptom_clause:
    common | checking
  | FROM element state_row          { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_CAUSE, .words = $2, .cells = $3.first}); }
  | FROM RETURN OF name state_row   { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_CAUSE, .side = AST_RETURN_SIDE, .words = $4, .cells = $5.first}); }
  | FROM FEED OF name state_row     { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_CAUSE, .side = AST_FEED_SIDE, .words = $4, .cells = $5.first}); }
  | OTHERWISE share                 { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_OTHERWISE, .number = $2}); }
  ;

inspection_clauses:
    %empty                          { $$ = (ast_clause_list){NULL, NULL}; }
  | inspection_clauses inspection_clause  { $$ = ast_clause_add($1, $2); }
  ;
inspection_clause:
    common | checking
  | OF sorts                        { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_OF, .words = $2.first}); }
  | SHOWS levels                    { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_SHOWS, .words = $2.first}); }
  | WHEN state row                  { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_WHEN, .state = $2, .cells = $3.first}); }
  ;

cross_clauses:
    cross_clause                    { $$ = ast_clause_one($1); }
  | cross_clauses cross_clause      { $$ = ast_clause_add($1, $2); }
  ;
cross_clause:
    common | checking
  | fault share                     { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_STATE, .state = $1, .number = $2}); }
  | OTHERWISE share                 { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_OTHERWISE, .number = $2}); }
  ;

joint_clauses:
    joint_clause                    { $$ = ast_clause_one($1); }
  | joint_clauses common            { $$ = ast_clause_add($1, $2); }
  ;
joint_clause:
    joint_law
  | LOOSE QUIET share               { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_QUIET, .state = AST_LOOSE, .number = $3}); }
  | OPEN LEAKS share                { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_LEAKS, .state = AST_OPEN, .number = $3}); }
  ;

volts_clauses:
    volts_clause                    { $$ = ast_clause_one($1); }
  | volts_clauses volts_clause      { $$ = ast_clause_add($1, $2); }
  ;
volts_clause:
    ohms_clause
  | ZERO share                      { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_ZERO, .number = $2}); }
  ;
ohms_clauses:
    ohms_clause                     { $$ = ast_clause_one($1); }
  | ohms_clauses ohms_clause        { $$ = ast_clause_add($1, $2); }
  ;
ohms_clause:
    common | checking
  | READS share                     { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_READS, .number = $2}); }
  | READS share PLUS quantity       { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_READS, .number = $2, .second = $4}); }
  | MISREAD share                   { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_MISREAD, .number = $2}); }
  | BANDS quantities                { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_BANDS, .number = $2.first}); }
  ;
beeper_clauses:
    beeper_clause                   { $$ = ast_clause_one($1); }
  | beeper_clauses beeper_clause    { $$ = ast_clause_add($1, $2); }
  ;
beeper_clause:
    common | checking
  | BEEPS BELOW quantity            { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_BELOW, .number = $3}); }
  | MISREAD share                   { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_MISREAD, .number = $2}); }
  ;

action_clauses:
    action_clause                   { $$ = ast_clause_one($1); }
  | action_clauses action_clause    { $$ = ast_clause_add($1, $2); }
  ;
action_clause:
    common | checking
  | UP TO quantity                  { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_UPTO, .number = $3}); }
  ;

/* ---- evidence ---- */

evidence:
    CASE STRING ON any_word label   { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_CASE, .text = $2, .name = $4, .label = $5}); }
  | OCCASION any_word label occasion_clauses[c]
                                    { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_OCCASION, .name = $2, .label = $3, .clauses = $c.first}); }
  | name seen seen_clauses[c]       { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_SEEN, .name = $1, .outcomes = $2.outcomes, .negated = $2.negated, .clauses = $c.first}); }
  | name element seen seen_clauses[c]
                                    { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_SEEN, .name = $1, .name2 = $2, .outcomes = $3.outcomes, .negated = $3.negated, .clauses = $c.first}); }
  | OTHERS WORK                     { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_OTHERS}); }
  | OTHERS OF element WORK          { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_OTHERS, .name = $3}); }
  | BACKFEED name crossed_clauses[c] { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_BACKFEED, .name = $2, .outcomes = $c.seen.outcomes, .negated = $c.seen.negated, .clauses = $c.clauses.first}); }
  | PULL name crossed_clauses[c]    { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_PULL, .name = $2, .outcomes = $c.seen.outcomes, .negated = $c.seen.negated, .clauses = $c.clauses.first}); }
  | DROP name ends quantity drop_clauses[c]
                                    { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_DROP, .name = $2, .number = $4, .clauses = ast_clause_join($3, $c).first}); }
  | RESISTANCE name ends quantity   { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_RESISTANCE, .name = $2, .number = $4, .clauses = $3.first}); }
  | RESISTANCE name ends gap        { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_RESISTANCE, .name = $2, .outcomes = $4, .clauses = $3.first}); }
  | SUPPLY name quantity            { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_SUPPLY, .name = $2, .number = $3}); }
  | CONTINUITY name ends beep       { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_CONTINUITY, .name = $2, .outcomes = $4, .clauses = $3.first}); }
  | OPENED any_word                 { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_OPENED, .name = $2}); }
  | FOUND NOTHING                   { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_FOUND}); }
  | FOUND element state             { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_FOUND, .name = $2, .state = $3}); }
  | FOUND ONLY element state        { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_FOUND, .name = $3, .state = $4, .only = true}); }
  | EXPECT element LEADS            { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_EXPECT, .name = $2}); }
  | EXPECT element bound            { $$ = rl_ast_stmt(p, @$, (ast_stmt){.sort = AST_EXPECT, .name = $2, .clauses = $3}); }
  ;

seen:
    outcomes                        { $$ = (ast_seen){$1.first, false}; }
  | NOT outcomes                    { $$ = (ast_seen){$2.first, true}; }
  | marked
  ;
marked:
    mark                            { $$ = (ast_seen){$1, false}; }
  | NOT mark                        { $$ = (ast_seen){$2, true}; }
  ;
mark:
    PRESENT                         { $$ = rl_ast_word(p, @$, $1); }
  | ABSENT                          { $$ = rl_ast_word(p, @$, $1); }
  ;
beep:
    BEEPS                           { $$ = rl_ast_word(p, @$, $1); }
  | SILENT                          { $$ = rl_ast_word(p, @$, $1); }
  ;
gap: OPEN                           { $$ = rl_ast_word(p, @$, $1); };
bound:
    ABOVE share                     { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_ABOVE, .number = $2}); }
  | BELOW share                     { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_BELOW, .number = $2}); }
  ;

from_end: FROM element              { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_FROM, .words = $2}); };
to_end: TO element                  { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_TO, .words = $2}); };
ends:
    %empty                          { $$ = (ast_clause_list){NULL, NULL}; }
  | from_end                        { $$ = ast_clause_one($1); }
  | to_end                          { $$ = ast_clause_one($1); }
  | from_end to_end                 { $$ = ast_clause_add(ast_clause_one($1), $2); }
  ;

crossed_clauses:
    to_load marked                  { $$ = (ast_crossed){$2, ast_clause_one($1)}; }
  | to_load marked sure             { $$ = (ast_crossed){$2, ast_clause_add(ast_clause_one($1), $3)}; }
  ;
to_load: TO name                    { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_TO, .words = $2}); };

at: AT quantity                     { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_AT, .number = $2}); };
also: ALSO names                    { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_ALSO, .words = $2.first}); };
drop_clauses:
    %empty                          { $$ = (ast_clause_list){NULL, NULL}; }
  | at                              { $$ = ast_clause_one($1); }
  | also                            { $$ = ast_clause_one($1); }
  | at also                         { $$ = ast_clause_add(ast_clause_one($1), $2); }
  ;

sure: SURE share                    { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_SURE, .number = $2}); };
with: WITH conditions               { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_WITH, .conditions = $2.first}); };
seen_clauses:
    %empty                          { $$ = (ast_clause_list){NULL, NULL}; }
  | sure                            { $$ = ast_clause_one($1); }
  | with                            { $$ = ast_clause_one($1); }
  | sure with                       { $$ = ast_clause_add(ast_clause_one($1), $2); }
  ;

conditions:
    condition                       { $$ = ast_condition_one($1); }
  | conditions AND condition        { $$ = ast_condition_add($1, $3); }
  ;
condition:
    mended
  | BYPASS                          { $$ = rl_ast_condition(p, @$, AST_BYPASS, NULL); }
  | BYPASS AT element               { $$ = rl_ast_condition(p, @$, AST_BYPASS_AT, $3); }
  | SWAP                            { $$ = rl_ast_condition(p, @$, AST_SWAP, NULL); }
  | JUMPER                          { $$ = rl_ast_condition(p, @$, AST_JUMPER, NULL); }
  ;
mended: REPAIRED element            { $$ = rl_ast_condition(p, @$, AST_REPAIRED, $2); };
repairs:
    mended                          { $$ = ast_condition_one($1); }
  | repairs AND mended              { $$ = ast_condition_add($1, $3); }
  ;

occasion_clauses:
    %empty                          { $$ = (ast_clause_list){NULL, NULL}; }
  | occasion_clauses occasion_clause  { $$ = ast_clause_add($1, $2); }
  ;
occasion_clause:
    SAID share                      { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_SAID, .number = $2}); }
  | BATTERY quantity                { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_BATTERY, .number = $2}); }
  | WITH repairs                    { $$ = rl_ast_clause(p, @$, (ast_clause){.sort = AST_C_WITH, .conditions = $2.first}); }
  ;

%%

/* The words that could stand where the parser stopped, for parse.c to word. */
static int yyreport_syntax_error(const yypcontext_t *context, rl_parser *p)
{
    yysymbol_kind_t kinds[YYNTOKENS];
    const char *expected[YYNTOKENS];
    int count = yypcontext_expected_tokens(context, kinds, YYNTOKENS);
    for (int i = 0; i < count; i++)
        expected[i] = yysymbol_name(kinds[i]);
    yysymbol_kind_t found = yypcontext_token(context);
    rl_parse_unexpected(p, *yypcontext_location(context), found == YYSYMBOL_END,
                        expected, count > 0 ? (size_t)count : 0);
    return 0;
}

static int rl_grammar_lex(RL_GRAMMAR_STYPE *value, rl_span *span, rl_parser *p)
{
    return rl_parse_token(p, value, span);
}

/* bison says this itself only when its stack is used up. */
static void rl_grammar_error(const rl_span *span, rl_parser *p, const char *text)
{
    (void)text;
    rl_parse_fault(p, *span, RL_MSG_NESTED, NULL, NULL);
}

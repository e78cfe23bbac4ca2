/* parse.h: the only way from text to syntax tree.  Owns the limits. */
#ifndef RL_PARSE_H
#define RL_PARSE_H

#include "ast.h"

#define AST_MAX_BYTES ((size_t)1 << 28)   /* a larger file is refused in words */
#define AST_MAX_MEMORY ((size_t)1 << 30)  /* so is what takes more to read */

/* Parses `text` (need not be NUL-terminated) that was registered with
 * rl_diag_source as `source`.  Errors go to `diag`; the tree that could be
 * saved is returned all the same (never NULL).  Takes memory from `arena`
 * alone and jumps to its bail when that runs out. */
ast_file *rl_parse(rl_arena *arena, rl_diag *diag, uint32_t source);
/* The same; once `arena` holds more than `most` bytes (0: AST_MAX_MEMORY), what
 * was there before included, the rest is refused in words. */
ast_file *rl_parse_within(rl_arena *arena, rl_diag *diag, uint32_t source, size_t most);

/* The canonical text of a tree: print(parse(x)) is a fixed point.  Comments
 * are not part of the tree.  A file ends each statement with a line end; a
 * statement by itself has none behind it, and a line of evidence none within. */
void rl_print_file(rl_text *out, const ast_file *file);
void rl_print_statement(rl_text *out, const ast_stmt *stmt);

/* The words of the language, from the lexer's one table: `count` of them,
 * sorted.  For completion, "did you mean" and the manual.  rl_is_word: whether
 * no element, level or outcome may be called so; `volts ohms beeper silent`
 * are listed, but mean something in one place only and may be names. */
const char *const *rl_words(size_t *count);
bool rl_is_word(const char *text);

#endif

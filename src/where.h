/* where.h: where an element or an area is and how to get at it. */
#ifndef WHERE_H
#define WHERE_H

#include "ringlug.h"
#include "term.h"

void where_element(const screen *sc, const rl_model *model, size_t element);
/* The same without head and cautions, which must stand before it. */
void where_about(const screen *sc, const rl_model *model, size_t element);
void where_cautions(const screen *sc, const text_list *cautions);
void where_area(const screen *sc, const rl_model *model, size_t area);

#endif

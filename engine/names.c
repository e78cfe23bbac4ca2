/* names.c: a hash table from names to numbers, and the lookups of a built model.
 *
 * Invariant: the table is never more than half full, so a probe always meets
 * an empty place; a key is (space, text).
 */
#include "names.h"

#include <assert.h>
#include <string.h>

typedef struct name_place {
    const char *text;          /* NULL: empty */
    int space, value;
} name_place;

struct rl_names {
    rl_arena *arena;
    name_place *place;
    size_t size, count;        /* size is a power of two */
};

static uint64_t hash_of(int space, const char *text)
{
    uint64_t hash = 14695981039346656037u ^ (uint64_t)space;
    for (const char *p = text; *p != '\0'; p++)
        hash = (hash ^ (unsigned char)*p) * 1099511628211u;
    return hash ^ (hash >> 29);
}

rl_names *rl_names_new(rl_arena *arena)
{
    rl_names *names = rl_new(arena, rl_names);
    names->arena = arena;
    names->size = 64;
    names->place = rl_many(arena, names->size, name_place);
    return names;
}

/* The place where (space, text) is, or would be put. */
static name_place *place_of(const rl_names *names, int space, const char *text)
{
    size_t mask = names->size - 1;
    size_t i = (size_t)hash_of(space, text) & mask;
    while (names->place[i].text != NULL &&
           (names->place[i].space != space || strcmp(names->place[i].text, text) != 0))
        i = (i + 1) & mask;
    return &names->place[i];
}

int rl_names_get(const rl_names *names, int space, const char *text)
{
    const name_place *place = place_of(names, space, text);
    return place->text == NULL ? -1 : place->value;
}

static void grow(rl_names *names)
{
    name_place *old = names->place;
    size_t old_size = names->size;
    names->size = old_size * 2;
    names->place = rl_many(names->arena, names->size, name_place);
    for (size_t i = 0; i < old_size; i++)
        if (old[i].text != NULL)
            *place_of(names, old[i].space, old[i].text) = old[i];
}

void rl_names_put(rl_names *names, int space, const char *text, int value)
{
    assert(value >= 0);
    if (2 * (names->count + 1) > names->size)
        grow(names);
    name_place *place = place_of(names, space, text);
    assert(place->text == NULL);
    *place = (name_place){ text, space, value };
    names->count++;
}

int rl_find_element(const rl_model *model, const char *text)
{
    return rl_names_get(model->names, RL_NAME_ELEMENT, text);
}

int rl_find_load(const rl_model *model, const char *text)
{
    int element = rl_find_element(model, text);
    return element >= 0 && model->node[element].info.sort == RL_LOAD ? element : -1;
}

int rl_find_symptom(const rl_model *model, const char *text)
{
    return rl_names_get(model->names, RL_NAME_SYMPTOM, text);
}

int rl_find_inspection(const rl_model *model, const char *text)
{
    return rl_names_get(model->names, RL_NAME_INSPECTION, text);
}

int rl_find_area(const rl_model *model, const char *text)
{
    return rl_names_get(model->names, RL_NAME_AREA, text);
}

static unsigned name_sort(rl_sort sort)
{
    switch (sort) {
    case RL_LOAD: return RL_NAME_LOAD;
    case RL_WIRE: return RL_NAME_WIRE;
    case RL_FEED: return RL_NAME_FEED;
    case RL_POINT: case RL_SPLICE: case RL_CONNECTOR: break;
    }
    return RL_NAME_JOINT;
}

/* Names with their labels, in the order of declaration. */
typedef struct name_list {
    const char **id, **label;
    size_t count;
} name_list;

static void add_name(name_list *list, const char *id, const char *label)
{
    list->id[list->count] = id;
    list->label[list->count++] = label != NULL ? label : id;
}

static name_list names_of(rl_arena *arena, const rl_model *model, unsigned sorts)
{
    size_t most = (size_t)(model->nodes + model->signs + model->looks + model->areas) + 1;
    name_list list = {rl_many(arena, most, const char *), rl_many(arena, most, const char *), 0};
    for (int i = 0; i < model->nodes; i++)
        if (sorts & name_sort(model->node[i].info.sort))
            add_name(&list, model->node[i].info.id, model->node[i].info.label);
    for (int i = 0; i < model->signs && (sorts & RL_NAME_SYMPTOM); i++)
        add_name(&list, model->sign[i].info.id, model->sign[i].info.label);
    for (int i = 0; i < model->looks && (sorts & RL_NAME_INSPECTION); i++)
        add_name(&list, model->look[i].info.id, model->look[i].info.label);
    for (int i = 0; i < model->areas && (sorts & RL_NAME_AREA); i++)
        add_name(&list, model->area[i].id, model->area[i].label);
    assert(list.count < most);
    return list;
}

const char *rl_nearest_name(rl_arena *arena, const rl_model *model, const char *text, unsigned sorts)
{
    rl_mark mark = rl_arena_mark(arena);
    name_list list = names_of(arena, model, sorts);
    const char *nearest = rl_nearest(text, list.id, list.count);
    rl_arena_rewind(arena, mark);
    return nearest;
}

static char lower(char c)
{
    return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
}

static bool holds(const char *whole, const char *part)
{
    for (; *whole != '\0'; whole++) {
        size_t i = 0;
        while (part[i] != '\0' && lower(whole[i]) == lower(part[i]))
            i++;
        if (part[i] == '\0')
            return true;
    }
    return false;
}

size_t rl_names_with(rl_arena *arena, const rl_model *model, const char *text, unsigned sorts,
                     const char **list, size_t most)
{
    rl_mark mark = rl_arena_mark(arena);
    name_list names = names_of(arena, model, sorts & ~(unsigned)RL_NAME_WIRE);
    size_t found = 0;
    for (size_t i = 0; i < names.count; i++) {
        if (!holds(names.id[i], text) && !holds(names.label[i], text))
            continue;
        if (found < most)
            list[found] = names.id[i];
        found++;
    }
    rl_arena_rewind(arena, mark);
    return found;
}

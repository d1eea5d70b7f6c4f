#include "archive/object.h"

#include "base/ini_file.h"

#include <stdlib.h>
#include <string.h>

const struct archive_object_key ARCHIVE_OBJECT_KEY[ARCHIVE_OBJECT_KEYS] = {
    {"accession", "number under which the collection has it"},
    {"title", "what it is"},
    {"label", "what stands on the label, word by word"},
    {"photograph", "name of the file with its picture"},
    {"operator", "who read it"},
    {"drive", "the drive it was read in"},
    {"drive-serial", "serial number of that drive"},
    {"cleaned", "when and how the heads were cleaned"},
    {"protection", "whether it was protected against writing, and how that was checked"},
    {"adapter", "what recorded it"},
    {"remark", "anything else"},
};

size_t archive_object_find(const char *key)
{
    size_t i = 0;
    while (i < ARCHIVE_OBJECT_KEYS && strcmp(ARCHIVE_OBJECT_KEY[i].key, key) != 0)
        i++;
    return i;
}

enum err archive_object_set(struct archive_object *o, size_t key, const char *value)
{
    char *copy = strdup(value);
    if (copy == NULL)
        return ERR_MEMORY;
    free(o->value[key]);
    o->value[key] = copy;
    return ERR_OK;
}

static enum err take(struct archive_object *o, const char *path, const struct ini_entry *n,
                     struct err_msg *e)
{
    size_t key = ARCHIVE_OBJECT_KEYS;
    if (strcmp(n->section, "object") != 0)
        return err_set(e, ERR_FORMAT, "%s:%d: section [%s]; [object] alone is known here", path,
                       n->line, n->section);
    if (n->key == NULL)
        return ERR_OK;
    key = archive_object_find(n->key);
    if (key == ARCHIVE_OBJECT_KEYS)
        return err_set(e, ERR_FORMAT, "%s:%d: [object] has no key '%s'", path, n->line, n->key);
    return archive_object_set(o, key, n->value);
}

enum err archive_object_read(const char *path, struct archive_object *out, struct err_msg *e)
{
    struct ini_file f;
    struct archive_object o = {{NULL}};
    enum err code = ini_file_read(path, &f, e);
    if (code != ERR_OK)
        return code;
    for (size_t i = 0; code == ERR_OK && i < f.count; i++)
        code = take(&o, path, &f.entry[i], e);
    ini_file_release(&f);
    if (code != ERR_OK) {
        archive_object_release(&o);
        return code;
    }
    *out = o;
    return ERR_OK;
}

void archive_object_release(struct archive_object *o)
{
    for (size_t i = 0; i < ARCHIVE_OBJECT_KEYS; i++)
        free(o->value[i]);
    *o = (struct archive_object){{NULL}};
}

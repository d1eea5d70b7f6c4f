/* Root directory, folders and chains. */
#include "archive/fat_private.h"
#include "base/buf.h"

#include <stdio.h>
#include <string.h>

#define ENTRY_BYTES 32
#define FILES_MAX   20000
#define DEPTH_MAX   8
#define ENTRY_LAST  0x00
#define ENTRY_GONE  0xE5
#define ATTR_LABEL  0x08 /* with others set: a part of a long name */
#define ATTR_FOLDER 0x10

static uint8_t shown(uint8_t c)
{
    return c > 0x20 && c < 0x7F && c != '/' && c != '\\' ? c : (uint8_t)'?';
}

/* "SPRING  TXT" as "SPRING.TXT" behind a folder's path. */
static void name_of(const char *folder, const uint8_t *entry, char out[FAT_PATH_MAX])
{
    char name[16];
    size_t n = 0;
    size_t len = 8;
    while (len > 0 && entry[len - 1] == ' ')
        len--;
    for (size_t i = 0; i < len; i++)
        name[n++] = (char)shown(entry[i]);
    len = 3;
    while (len > 0 && entry[8 + len - 1] == ' ')
        len--;
    if (len > 0)
        name[n++] = '.';
    for (size_t i = 0; i < len; i++)
        name[n++] = (char)shown(entry[8 + i]);
    name[n] = '\0';
    (void)snprintf(out, FAT_PATH_MAX, "%.200s%s%s", folder, folder[0] != '\0' ? "/" : "", name);
}

static size_t cluster_at(const struct fat_walk *w, uint32_t cluster)
{
    return w->data + (size_t)(cluster - 2) * w->cluster_bytes;
}

/* Sectors of a stretch, by state. */
static void touch(const struct fat_walk *w, struct fat_file *f, size_t offset, size_t len)
{
    for (size_t at = 0; at < len; at += w->v->sector_bytes) {
        enum field_state state = fat_state(w->image, offset + at, w->v->sector_bytes);
        f->touched[state]++;
    }
}

/* A cluster becomes the file's; NULL, or what is wrong with it. Every cluster can be owned
 * once, so that a chain ends. */
static const char *own(struct fat_walk *w, struct fat_file *f, uint32_t n, uint64_t *left)
{
    if (n < 2 || n >= w->v->clusters + 2)
        return "its chain leaves the volume";
    if (w->owned[n] != 0)
        return "its chain runs into a cluster that is taken already";
    w->owned[n] = 1;
    f->clusters++;
    size_t part = f->folder || *left > w->cluster_bytes ? w->cluster_bytes : (size_t)*left;
    touch(w, f, cluster_at(w, n), part);
    *left -= f->folder ? 0 : part;
    if (w->doubtful[n] != 0)
        return "its chain goes through entries that no table has good";
    if (w->next[n] == FAT_FREE)
        return "its chain runs into a free cluster";
    return w->next[n] == FAT_BAD ? "its chain runs into a cluster marked bad" : NULL;
}

/* Follow a file's chain. */
static void chain(struct fat_walk *w, struct fat_file *f, uint32_t first)
{
    uint64_t left = f->bytes;
    uint32_t n = first;
    if (first == 0) {
        f->problem = f->bytes > 0 ? "it has a length but no clusters" : NULL;
        return;
    }
    do {
        f->problem = own(w, f, n, &left);
        if (f->problem != NULL)
            return;
        n = w->next[n];
    } while (n < FAT_END);
    uint64_t room = (uint64_t)f->clusters * w->cluster_bytes;
    if (!f->folder && left > 0)
        f->problem = "its chain is shorter than its length";
    else if (!f->folder && room >= (uint64_t)f->bytes + w->cluster_bytes)
        f->problem = "its chain is longer than its length";
}

/* A folder that is read. */
struct place {
    const char *path;
    int depth;
    uint32_t first, clusters; /* its own ones: no cluster is read twice */
};

static enum err folder(struct fat_walk *w, const struct place *p);

static enum err take(struct fat_walk *w, const struct place *p, size_t at)
{
    const uint8_t *entry = w->image->bytes + at;
    struct fat_volume *v = w->v;
    struct fat_file f = {.folder = (entry[11] & ATTR_FOLDER) != 0,
                         .bytes = fat_u32(entry + 28),
                         .time = fat_u16(entry + 22),
                         .date = fat_u16(entry + 24)};
    uint32_t first = fat_u16(entry + 26);
    if ((entry[11] & ATTR_LABEL) != 0 || entry[0] == '.')
        return ERR_OK;
    if (v->count == FILES_MAX) {
        v->truncated = true;
        return ERR_OK;
    }
    name_of(p->path, entry, f.path);
    f.entry_good = fat_state(w->image, at, ENTRY_BYTES) == FIELD_GOOD;
    f.bytes = f.folder ? 0 : f.bytes;
    chain(w, &f, first);
    TRY(array_grow((void **)&v->file, &v->cap, v->count + 1, sizeof v->file[0], FILES_MAX));
    v->file[v->count++] = f;
    if (!f.folder || f.clusters == 0)
        return ERR_OK;
    struct place below = {f.path, p->depth + 1, first, f.clusters};
    if (below.depth > DEPTH_MAX) {
        v->truncated = true;
        return ERR_OK;
    }
    return folder(w, &below);
}

/* Entries of one stretch of a directory; *last: the entry that ends it was seen. Damaged or
 * absent sectors hold no entries that can be believed. */
static enum err entries(struct fat_walk *w, const struct place *p, size_t offset, size_t len,
                        bool *last)
{
    for (size_t at = offset; at < offset + len && !*last; at += ENTRY_BYTES) {
        if (fat_state(w->image, at, ENTRY_BYTES) < FIELD_REPAIRED)
            continue;
        uint8_t c = w->image->bytes[at];
        *last = c == ENTRY_LAST;
        if (!*last && c != ENTRY_GONE)
            TRY(take(w, p, at));
    }
    return ERR_OK;
}

static enum err folder(struct fat_walk *w, const struct place *p)
{
    bool last = false;
    uint32_t n = p->first;
    for (uint32_t i = 0; !last && i < p->clusters; i++, n = w->next[n])
        TRY(entries(w, p, cluster_at(w, n), w->cluster_bytes, &last));
    return ERR_OK;
}

enum err fat_folders(struct fat_walk *w)
{
    struct place root = {"", 0, 0, 0};
    bool last = false;
    return entries(w, &root, w->root, (size_t)w->v->root_entries * ENTRY_BYTES, &last);
}

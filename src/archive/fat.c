/* Boot record and tables. */
#include "archive/fat_private.h"

#include <stdlib.h>
#include <string.h>

#define BOOT_BYTES 512
#define ENTRIES_12 4085 /* fewer clusters: 12-bit entries. Source: ECMA-107, tables */

uint16_t fat_u16(const uint8_t *p)
{
    return (uint16_t)(p[0] | p[1] << 8);
}

uint32_t fat_u32(const uint8_t *p)
{
    return (uint32_t)fat_u16(p) | (uint32_t)fat_u16(p + 2) << 16;
}

enum field_state fat_state(const struct fat_image *image, size_t offset, size_t len)
{
    enum field_state worst = FIELD_GOOD;
    if (len == 0)
        return FIELD_GOOD;
    if (offset > image->len || len > image->len - offset)
        return FIELD_ABSENT;
    for (size_t i = offset / FAT_STATE_UNIT;
         image->state != NULL && i <= (offset + len - 1) / FAT_STATE_UNIT; i++)
        if ((enum field_state)image->state[i] < worst)
            worst = (enum field_state)image->state[i];
    return worst;
}

static bool power_of_two(uint32_t n)
{
    return n != 0 && (n & (n - 1)) == 0;
}

/* Numbers of the boot record that a volume can have. */
static bool plausible(const struct fat_volume *v, uint8_t media)
{
    return power_of_two(v->sector_bytes) && v->sector_bytes >= 128 && v->sector_bytes <= 4096 &&
           power_of_two(v->cluster_sectors) && v->cluster_sectors <= 128 && v->reserved >= 1 &&
           v->tables >= 1 && v->tables <= 2 && v->root_entries >= 1 && v->table_sectors >= 1 &&
           v->sectors > 0 && media >= 0xF0;
}

/* The data area begins behind boot record, tables and root directory. */
static bool areas(struct fat_volume *v)
{
    uint64_t root = ((uint64_t)v->root_entries * 32 + v->sector_bytes - 1) / v->sector_bytes;
    uint64_t before = v->reserved + (uint64_t)v->tables * v->table_sectors + root;
    if (before >= v->sectors)
        return false;
    v->clusters = (uint32_t)((v->sectors - before) / v->cluster_sectors);
    v->bits = v->clusters < ENTRIES_12 ? 12 : 16;
    uint64_t entries = (uint64_t)v->table_sectors * v->sector_bytes * 8 / (uint64_t)v->bits;
    return v->clusters >= 1 && v->clusters <= FAT_CLUSTERS_MAX && v->clusters + 2 <= entries;
}

static void label_of(const uint8_t *boot, struct fat_volume *v)
{
    size_t n = 0;
    bool extended = boot[38] == 0x29;
    for (; extended && n < 11; n++)
        v->label[n] = (char)(boot[43 + n] >= 0x20 && boot[43 + n] < 0x7F ? boot[43 + n] : '?');
    while (n > 0 && v->label[n - 1] == ' ')
        n--;
    v->label[n] = '\0';
}

bool fat_boot(const struct fat_image *image, struct fat_volume *v)
{
    const uint8_t *b = image->bytes;
    if (image->len < BOOT_BYTES || fat_state(image, 0, BOOT_BYTES) < FIELD_REPAIRED)
        return false;
    *v = (struct fat_volume){.sector_bytes = fat_u16(b + 11),
                             .cluster_sectors = b[13],
                             .reserved = fat_u16(b + 14),
                             .tables = b[16],
                             .root_entries = fat_u16(b + 17),
                             .sectors = fat_u16(b + 19),
                             .table_sectors = fat_u16(b + 22),
                             .track_sectors = fat_u16(b + 24),
                             .heads = fat_u16(b + 26)};
    if (v->sectors == 0)
        v->sectors = fat_u32(b + 32);
    if (!plausible(v, b[21]) || !areas(v))
        return false;
    size_t table = (size_t)v->reserved * v->sector_bytes;
    /* the first entry repeats the medium's descriptor, where it could be read */
    if (fat_state(image, table, 1) >= FIELD_REPAIRED && image->bytes[table] != b[21])
        return false;
    label_of(b, v);
    v->short_image = (uint64_t)v->sectors * v->sector_bytes > image->len;
    return true;
}

/* Entry n of the table at `table`; false where it lies past the image. */
static bool entry(const struct fat_walk *w, size_t table, uint32_t n, uint16_t *out,
                  enum field_state *state)
{
    const struct fat_image *m = w->image;
    size_t at = table + (w->v->bits == 12 ? (size_t)n * 3 / 2 : (size_t)n * 2);
    *state = fat_state(m, at, 2);
    if (at + 2 > m->len)
        return false;
    uint16_t value = fat_u16(m->bytes + at);
    if (w->v->bits == 12) {
        value = (n & 1) != 0 ? value >> 4 : value & 0xFFF;
        value = value >= 0xFF7 ? (uint16_t)(value | 0xF000) : value;
    }
    *out = value;
    return true;
}

/* The entry from the table whose sector is the better one. */
static void entry_both(struct fat_walk *w, uint32_t n)
{
    struct fat_volume *v = w->v;
    uint16_t first = FAT_FREE;
    uint16_t second = FAT_FREE;
    enum field_state a = FIELD_ABSENT;
    enum field_state b = FIELD_ABSENT;
    bool one = entry(w, w->table, n, &first, &a);
    size_t copy = w->table + (size_t)v->table_sectors * v->sector_bytes;
    bool two = v->tables > 1 && entry(w, copy, n, &second, &b);
    if (one && two && first != second) {
        v->differ++;
        v->differ_good += a == FIELD_GOOD && b == FIELD_GOOD;
    }
    w->next[n] = two && b > a ? second : first;
    w->doubtful[n] = (a > b ? a : b) < FIELD_REPAIRED;
}

enum err fat_tables(struct fat_walk *w)
{
    size_t entries = (size_t)w->v->clusters + 2;
    w->next = calloc(entries, sizeof w->next[0]);
    w->owned = calloc(entries, 1);
    w->doubtful = calloc(entries, 1);
    if (w->next == NULL || w->owned == NULL || w->doubtful == NULL)
        return ERR_MEMORY;
    for (uint32_t n = 2; n < entries; n++) {
        entry_both(w, n);
        w->v->free += w->next[n] == FAT_FREE;
        w->v->bad += w->next[n] == FAT_BAD;
    }
    w->v->used = w->v->clusters - w->v->free - w->v->bad;
    return ERR_OK;
}

static void lost_clusters(struct fat_walk *w)
{
    for (uint32_t n = 2; n < w->v->clusters + 2; n++)
        w->v->lost += w->next[n] != FAT_FREE && w->next[n] != FAT_BAD && w->owned[n] == 0;
}

enum err fat_read(const struct fat_image *image, struct fat_volume *out)
{
    struct fat_volume v = {.bits = 0};
    struct fat_walk w = {.image = image, .v = &v};
    enum err e = ERR_OK;
    *out = v;
    if (!fat_boot(image, &v))
        return ERR_OK;
    w.table = (size_t)v.reserved * v.sector_bytes;
    w.root = w.table + (size_t)v.tables * v.table_sectors * v.sector_bytes;
    size_t root_bytes = (size_t)v.root_entries * 32;
    w.data = w.root + (root_bytes + v.sector_bytes - 1) / v.sector_bytes * v.sector_bytes;
    w.cluster_bytes = (size_t)v.cluster_sectors * v.sector_bytes;
    e = fat_tables(&w);
    if (e == ERR_OK)
        e = fat_folders(&w);
    if (e == ERR_OK)
        lost_clusters(&w);
    free(w.next);
    free(w.owned);
    free(w.doubtful);
    if (e == ERR_OK)
        *out = v;
    else
        fat_release(&v);
    return e;
}

void fat_release(struct fat_volume *v)
{
    free(v->file);
    *v = (struct fat_volume){.bits = 0};
}

bool fat_file_touched(const struct fat_file *f)
{
    return f->problem != NULL || !f->entry_good || f->touched[FIELD_REPAIRED] > 0 ||
           f->touched[FIELD_DAMAGED] > 0 || f->touched[FIELD_ABSENT] > 0;
}

enum err fat_states(const struct archive_layout *l, uint8_t **out)
{
    uint8_t *state = calloc(l->bytes / FAT_STATE_UNIT + 1, 1);
    if (state == NULL)
        return ERR_MEMORY;
    for (size_t i = 0; i < l->count; i++) {
        const struct archive_slot *s = &l->slot[i];
        memset(state + s->offset / FAT_STATE_UNIT, archive_slot_state(s),
               (size_t)128 << s->size_code >> 7);
    }
    *out = state;
    return ERR_OK;
}

struct archive_extent fat_extent(const struct fat_volume *v, const struct archive_layout *l)
{
    struct archive_extent none = {0, 0};
    uint64_t cylinder = (uint64_t)v->track_sectors * v->heads;
    if (v->bits == 0 || !l->uniform || v->heads < 1 || v->heads > 2 ||
        v->track_sectors != (uint32_t)l->sectors ||
        v->sector_bytes != (uint32_t)128 << l->size_code)
        return none;
    uint64_t cylinders = (v->sectors + cylinder - 1) / cylinder;
    if (cylinders > 96)
        return none;
    return (struct archive_extent){(int32_t)cylinders, (int32_t)v->heads};
}

/* An archived disk on a page: what was told of it, what of it is sound. */
#include "report/page_map.h"
#include "report/page_parts.h"
#include "report/text.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BAD_LISTED 200

static enum look look_of(const struct archived_sector *s)
{
    switch (s->state[0]) {
    case 'g':
        return s->sure ? LOOK_GOOD : LOOK_ONCE;
    case 'r':
        return LOOK_REPAIRED;
    case 'd':
        return LOOK_DAMAGED;
    default:
        return LOOK_ABSENT;
    }
}

static enum err answer(struct buf *out, const struct archive_map *m, const size_t *looks)
{
    char bytes[TEXT_COUNT_MAX];
    TRY(buf_printf(out, "<div class=\"answer %s\">\n", m->complete ? "sound" : "open"));
    TRY(html_elf(out, "p class=\"said\"", "%s: %zu of %zu sectors good",
                 m->complete ? "Whole" : "Not whole", looks[LOOK_GOOD] + looks[LOOK_ONCE],
                 m->sector_count));
    TRY(html_elf(
        out, "p",
        "%zu of the good ones are sure, from two turns alike; %zu repaired, %zu damaged, "
        "%zu absent; %zu outside the image.",
        looks[LOOK_GOOD], looks[LOOK_REPAIRED], looks[LOOK_DAMAGED], looks[LOOK_ABSENT],
        m->outside));
    if (m->bytes > 0) {
        TRY(html_elf(out, "p",
                     "%" PRId32 " cylinders, %" PRId32
                     " sides; %s bytes in disk.img, CRC-32 %s "
                     "(a check, not fixity); written %s.",
                     m->cylinders, m->sides, text_count(m->bytes, bytes), m->crc32, m->utc));
    }
    return buf_str(out, "</div>\n");
}

static enum err told(struct buf *out, const char *caption, const char *first,
                     const char *second, const struct archived_told *t, size_t count)
{
    if (count == 0) {
        return ERR_OK;
    }
    TRY(buf_str(out, "<table>\n"));
    TRY(html_el(out, "caption", caption));
    TRY(buf_str(out, "<thead><tr>"));
    TRY(html_el(out, "th scope=\"col\"", first));
    TRY(html_el(out, "th scope=\"col\"", second));
    TRY(buf_str(out, "</tr></thead>\n<tbody>\n"));
    for (size_t i = 0; i < count; i++) {
        TRY(buf_str(out, "<tr>"));
        TRY(html_el(out, "th scope=\"row\"", t[i].key));
        TRY(html_el(out, "td", t[i].value));
        TRY(buf_str(out, "</tr>\n"));
    }
    return buf_str(out, "</tbody>\n</table>\n");
}

static enum err bad_sectors(struct buf *out, const struct archive_map *m, size_t bad)
{
    size_t shown = 0;
    if (bad == 0) {
        return ERR_OK;
    }
    TRY(buf_str(out, "<table>\n<caption>Read, and not good</caption>\n<thead><tr>"
                     "<th scope=\"col\">Sector</th><th scope=\"col\">State</th></tr></thead>\n"
                     "<tbody>\n"));
    for (size_t i = 0; i < m->sector_count && shown < BAD_LISTED; i++) {
        const struct archived_sector *s = &m->sector[i];
        enum look look = look_of(s);
        if (look == LOOK_REPAIRED || look == LOOK_DAMAGED) {
            TRY(buf_str(out, "<tr>"));
            TRY(html_elf(out, "th scope=\"row\"",
                         "cylinder %" PRId32 ", side %" PRId32 ", sector %" PRId32, s->cylinder,
                         s->side, s->number));
            TRY(html_el(out, "td", s->state));
            TRY(buf_str(out, "</tr>\n"));
            shown++;
        }
    }
    TRY(buf_str(out, "</tbody>\n</table>\n"));
    return shown == bad ? ERR_OK : html_elf(out, "p", "And %zu more.", bad - shown);
}

static enum err file_row(struct buf *out, const struct archived_file *f)
{
    char bytes[TEXT_COUNT_MAX];
    TRY(buf_str(out, "<tr>"));
    TRY(html_elf(out, "th scope=\"row\"", "%s%s", f->path, f->folder ? "/" : ""));
    TRY(html_el(out, "td class=\"n\"", f->folder ? "folder" : text_count(f->bytes, bytes)));
    TRY(buf_printf(out,
                   "<td class=\"n\">%" PRId32 "</td><td class=\"n\">%" PRId32
                   "</td><td class=\"n\">%" PRId32 "</td>",
                   f->repaired, f->damaged, f->absent));
    TRY(html_elf(out, "td", "%s%s%s", f->problem,
                 f->problem[0] != '\0' && !f->entry_good ? "; " : "",
                 f->entry_good ? "" : "its entry is not sure"));
    return buf_str(out, "</tr>\n");
}

static enum err volume(struct buf *out, const struct archive_map *m)
{
    if (m->volume[0] == '\0') {
        return ERR_OK;
    }
    TRY(html_elf(
        out, "p",
        "A %s volume%s%s with %zu files and folders; %zu of them touch what is not good. "
        "Its tables %s.",
        m->volume, m->label[0] != '\0' ? " called " : "", m->label, m->files, m->files_touched,
        m->tables_agree ? "agree" : "do not agree"));
    if (m->file_count == 0) {
        return ERR_OK;
    }
    TRY(buf_str(out, "<table>\n<caption>Files that touch sectors that are not good</caption>\n"
                     "<thead><tr><th scope=\"col\">Path</th><th scope=\"col\" class=\"n\">Bytes"
                     "</th><th scope=\"col\" class=\"n\">Repaired</th><th scope=\"col\" "
                     "class=\"n\">Damaged</th><th scope=\"col\" class=\"n\">Absent</th>"
                     "<th scope=\"col\">Mind</th></tr></thead>\n<tbody>\n"));
    for (size_t i = 0; i < m->file_count; i++) {
        TRY(file_row(out, &m->file[i]));
    }
    TRY(buf_str(out, "</tbody>\n</table>\n"));
    return m->file_count == m->files_touched
               ? ERR_OK
               : html_elf(out, "p", "And %zu more.", m->files_touched - m->file_count);
}

/* Sectors lie in the list by cylinder, side and number. */
static enum err map(struct buf *out, const struct archive_map *m, size_t looks[LOOKS])
{
    struct map_sector *list = calloc(m->sector_count + 1, sizeof *list);
    char text[160];
    if (list == NULL) {
        return ERR_MEMORY;
    }
    for (size_t i = 0; i < m->sector_count; i++) {
        const struct archived_sector *s = &m->sector[i];
        bool same = i > 0 && s->cylinder == s[-1].cylinder && s->side == s[-1].side;
        list[i] = (struct map_sector){s->cylinder, s->side, same ? list[i - 1].row + 1 : 0,
                                      look_of(s)};
        looks[list[i].look]++;
    }
    (void)snprintf(text, sizeof text, "%zu sectors of the image, by number downward.",
                   m->sector_count);
    struct sector_map view = {"d1", "Sectors of the image", text, list, m->sector_count};
    enum err e = answer(out, m, looks);
    e = e == ERR_OK ? map_draw(out, &view) : e;
    free(list);
    return e;
}

enum err page_disk(struct buf *out, const struct page *p)
{
    const struct archive_map *m = p->disk;
    size_t looks[LOOKS] = {0};
    if (m == NULL) {
        return ERR_OK;
    }
    TRY(buf_str(out, "<section>\n<h2>The archived disk</h2>\n"));
    TRY(map(out, m, looks));
    TRY(volume(out, m));
    TRY(bad_sectors(out, m, looks[LOOK_REPAIRED] + looks[LOOK_DAMAGED]));
    TRY(told(out, "The object", "Key", "Told", m->told, m->told_count));
    TRY(told(out, "Passes that were merged", "When", "From", m->pass, m->pass_count));
    if (m->passes > m->pass_count) {
        TRY(html_elf(out, "p", "And %zu more passes.", m->passes - m->pass_count));
    }
    return buf_str(out, "</section>\n");
}

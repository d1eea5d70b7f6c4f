/* One capture on a page: its plots, and what of it was not good. */
#include "report/page_parts.h"

#include <inttypes.h>
#include <stdio.h>

#define TRACKS_LISTED  60
#define NUMBERS_LISTED 12
#define NUMBERS_MAX    400

static bool whole(const struct track *t)
{
    for (size_t i = 0; i < t->sector_count; i++) {
        if (!t->sector[i].id_good || t->sector[i].data != FIELD_GOOD) {
            return false;
        }
    }
    return t->sector_count > 0;
}

static const char *not_good(const struct track *t, char out[NUMBERS_MAX])
{
    size_t at = 0;
    size_t listed = 0;
    size_t bad = 0;
    (void)snprintf(out, NUMBERS_MAX, "no sector found");
    for (size_t i = 0; i < t->sector_count; i++) {
        const struct track_sector *s = &t->sector[i];
        if (s->id_good && s->data == FIELD_GOOD) {
            continue;
        }
        bad++;
        if (listed < NUMBERS_LISTED) {
            listed++;
            at += (size_t)snprintf(
                out + at, NUMBERS_MAX - at, "%s%d (%s)", at > 0 ? ", " : "", s->sector,
                s->id_good ? field_state_name(s->data) : "identifier damaged");
        }
    }
    if (bad > listed) {
        (void)snprintf(out + at, NUMBERS_MAX - at, " and %zu more", bad - listed);
    }
    return out;
}

static enum err track_row(struct buf *out, const struct track *t)
{
    char list[NUMBERS_MAX];
    size_t good = 0;
    for (size_t i = 0; i < t->sector_count; i++) {
        good += t->sector[i].id_good && t->sector[i].data == FIELD_GOOD;
    }
    TRY(buf_printf(out,
                   "<tr><th scope=\"row\">cylinder %" PRId32 ", side %" PRId32
                   "</th><td class=\"n\">%.1f</td><td>%zu of %zu</td>",
                   t->cylinder, t->side, t->revolutions, good, t->sector_count));
    TRY(html_el(out, "td", not_good(t, list)));
    return buf_str(out, "</tr>\n");
}

static enum err bad_tracks(struct buf *out, const struct page_capture *c)
{
    const struct survey *s = c->survey;
    size_t bad = 0;
    for (size_t i = 0; i < s->track_count; i++) {
        bad += !whole(&s->track[i]);
    }
    if (s->track_count == 0) {
        return ERR_OK;
    }
    if (bad == 0) {
        return html_elf(out, "p", "Every sector seen on %zu track%s reads good.",
                        s->track_count, s->track_count == 1 ? "" : "s");
    }
    TRY(buf_str(out,
                "<table>\n<caption>Tracks with sectors that are not good</caption>\n<thead>"
                "<tr><th scope=\"col\">Track</th><th scope=\"col\" class=\"n\">Turns</th>"
                "<th scope=\"col\">Good</th><th scope=\"col\">Not good</th></tr></thead>"
                "\n<tbody>\n"));
    size_t shown = 0;
    for (size_t i = 0; i < s->track_count && shown < TRACKS_LISTED; i++) {
        if (!whole(&s->track[i])) {
            TRY(track_row(out, &s->track[i]));
            shown++;
        }
    }
    TRY(buf_str(out, "</tbody>\n</table>\n"));
    return shown == bad ? ERR_OK : html_elf(out, "p", "And %zu more tracks.", bad - shown);
}

static enum err facts(struct buf *out, const struct page_capture *c)
{
    static const char *const roles[] = {"listened in line", "took the machine's place",
                                        "took the drive's place", "both plugs on the adapter",
                                        "the adapter's own leads, looped back"};
    static const char *const taps[] = {"tap not said", "tapped at the machine end",
                                       "tapped at the drive end"};
    static const char *const outcomes[] = {"not known", "worked",     "failed",
                                           "hangs",     "wrong data", "sometimes"};
    return html_elf(out, "p class=\"faint\"", "%s; %s, %s; the machine's outcome: %s.",
                    c->facts->file, taps[c->facts->tap], roles[c->facts->role],
                    outcomes[c->facts->outcome]);
}

static enum err warnings(struct buf *out, const struct page_capture *c)
{
    const struct survey *s = c->survey;
    if (s->warning_count == 0) {
        return ERR_OK;
    }
    TRY(html_el(out, "h4", "Mind"));
    TRY(buf_str(out, "<ul>\n"));
    for (size_t i = 0; i < s->warning_count; i++) {
        TRY(html_el(out, "li", s->warning[i]));
    }
    return buf_str(out, "</ul>\n");
}

enum err page_capture(struct buf *out, const struct page_capture *c)
{
    static enum err (*const part[])(struct buf *, const struct page_capture *) = {
        facts,       page_lines,   page_turns, page_rails, page_intervals,
        page_places, page_sectors, bad_tracks, warnings};
    TRY(buf_printf(out, "<article id=\"%s\" aria-labelledby=\"%s-h\">\n<h3 id=\"%s-h\">", c->id,
                   c->id, c->id));
    TRY(html_textf(out, "Capture %s", c->facts->name));
    TRY(buf_str(out, "</h3>\n"));
    for (size_t i = 0; i < sizeof part / sizeof part[0]; i++) {
        TRY(part[i](out, c));
    }
    return buf_str(out, "</article>\n");
}

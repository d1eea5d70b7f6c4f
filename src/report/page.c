#include "report/json.h"
#include "report/page_parts.h"
#include "report/verdict.h"

#include <stdio.h>

enum err page_list(struct buf *out, const char *heading, const char text[][VERDICT_TEXT_MAX],
                   size_t count)
{
    if (count == 0) {
        return ERR_OK;
    }
    TRY(buf_str(out, "<div>\n"));
    TRY(html_el(out, "h3", heading));
    TRY(buf_str(out, "<ul>\n"));
    for (size_t i = 0; i < count; i++) {
        TRY(html_el(out, "li", text[i]));
    }
    return buf_str(out, "</ul>\n</div>\n");
}

static enum err head(struct buf *out, const struct page *p)
{
    TRY(buf_str(out, "<!DOCTYPE html>\n<html lang=\"en\" "
                     "xmlns=\"http://www.w3.org/1999/xhtml\">\n<head>\n"
                     "<meta charset=\"utf-8\"/>\n<meta name=\"viewport\" "
                     "content=\"width=device-width,initial-scale=1\"/>\n"
                     /* whatever a case may hold, nothing is loaded or run */
                     "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src "
                     "'none'; style-src 'unsafe-inline'\"/>\n"));
    TRY(html_el(out, "title", p->v->title));
    TRY(buf_str(out, "<style>\n"));
    for (size_t i = 0; PAGE_STYLE[i] != NULL; i++) {
        TRY(buf_str(out, PAGE_STYLE[i]));
    }
    return buf_str(out, "</style>\n</head>\n<body>\n");
}

static enum err captures(struct buf *out, const struct page *p)
{
    if (p->drawn == 0) {
        return ERR_OK;
    }
    TRY(buf_str(out, "<section class=\"long\">\n<h2>What was measured</h2>\n"));
    TRY(page_figures(out, p));
    TRY(buf_str(out, "<div class=\"columns\">\n"));
    for (size_t i = 0; i < p->drawn; i++) {
        struct page_capture c = {&p->c->capture[i], &p->survey[i], p->trace[i], p->c->drive,
                                 ""};
        (void)snprintf(c.id, sizeof c.id, "c%zu", i + 1);
        TRY(page_capture(out, &c));
    }
    TRY(buf_str(out, "</div>\n"));
    if (p->drawn < p->c->capture_count) {
        TRY(html_elf(out, "p", "%zu more captures of this case were weighed but not drawn.",
                     p->c->capture_count - p->drawn));
    }
    return buf_str(out, "</section>\n");
}

enum err report_page(const struct page *p, struct buf *out)
{
    static enum err (*const part[])(struct buf *, const struct page *) = {
        page_answer, page_reasons, page_tests, page_case, captures, page_sheets, page_disk};
    TRY(head(out, p));
    TRY(buf_str(out, "<header>\n<p class=\"kicker\">Floppy subsystem: which end?</p>\n"));
    TRY(html_el(out, "h1", p->v->title));
    TRY(buf_str(out, "</header>\n<main>\n"));
    for (size_t i = 0; i < sizeof part / sizeof part[0]; i++) {
        TRY(part[i](out, p));
    }
    TRY(buf_str(out, "</main>\n<footer>\n"));
    TRY(html_elf(out, "p",
                 "Made by %s from the case's own files. Every figure is a reading of a "
                 "capture, every observation a person's word.",
                 p->program));
    return buf_str(out, "</footer>\n</body>\n</html>\n");
}

enum err report_page_json(const struct page *p, const char *file, size_t bytes, struct buf *out)
{
    bool failed = false;
    json_t *root = json_object();
    json_put(root, "schema", json_string("whichend.page/1"), &failed);
    json_put(root, "case", json_text(p->v->title), &failed);
    json_put(root, "file", json_text(file), &failed);
    json_put(root, "bytes", json_integer((json_int_t)bytes), &failed);
    json_put(root, "captures", json_integer((json_int_t)p->c->capture_count), &failed);
    json_put(root, "drawn", json_integer((json_int_t)p->drawn), &failed);
    json_put(root, "verdict", verdict_json(p->v, &failed), &failed);
    return json_finish(root, failed, out);
}

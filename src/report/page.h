/* A case on one page of HTML that needs nothing else: style and plots are inside, no script, no
 * fonts, nothing from a network. Well-formed as XML too.
 *
 * The same input gives the same bytes. Every list has an end, so that a page has one.
 */
#ifndef WHICHEND_REPORT_PAGE_H
#define WHICHEND_REPORT_PAGE_H

#include "accept/sheet.h"
#include "evidence/case_file.h"
#include "judge/judge.h"
#include "report/archive_map.h"
#include "report/trace.h"

#define PAGE_BYTES_MAX ((size_t)20 << 20)
#define PAGE_DRAWN_MAX 12 /* captures with plots; of more only the facts are listed */

struct page {
    const struct case_file *c;
    const struct verdict *v;
    const struct survey *survey;      /* one a capture; of those not drawn nothing is read */
    const struct trace *const *trace; /* likewise */
    size_t drawn;                     /* the first so many captures; at most PAGE_DRAWN_MAX */
    const struct accept_sheet
        *sheet; /* of an acceptance test, beside the case; two: compared */
    size_t sheets;
    const struct archive_map *disk; /* of an archive; NULL none */
    const char *program;            /* "whichend 0.1.0" */
    bool verbose;                   /* weights in decibans too */
};

enum err report_page(const struct page *p, struct buf *out);

/* What `report --json` says: where the page is, and what it says. Schema whichend.page/1. */
enum err report_page_json(const struct page *p, const char *file, size_t bytes,
                          struct buf *out);

#endif

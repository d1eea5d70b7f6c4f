/* Private to src/report: the parts of a page. */
#ifndef WHICHEND_REPORT_PAGE_PARTS_H
#define WHICHEND_REPORT_PAGE_PARTS_H

#include "report/html.h"
#include "report/page.h"

/* Pieces of the style, NULL behind the last: C promises no longer strings. */
extern const char *const PAGE_STYLE[];

/* One capture as it is drawn. id: "c1", for ids on the page. */
struct page_capture {
    const struct case_capture *facts;
    const struct survey *survey;
    const struct trace *trace;
    const struct profile *drive;
    char id[24];
};

enum err page_answer(struct buf *out, const struct page *p);
enum err page_reasons(struct buf *out, const struct page *p);
enum err page_tests(struct buf *out, const struct page *p);
enum err page_case(struct buf *out, const struct page *p);
/* The figures and the lines of all captures, a column each. */
enum err page_figures(struct buf *out, const struct page *p);
enum err page_capture(struct buf *out, const struct page_capture *c);

enum err page_sheets(struct buf *out, const struct page *p);
enum err page_disk(struct buf *out, const struct page *p);

/* Plots; each is left out where the capture cannot show it. */
enum err page_turns(struct buf *out, const struct page_capture *c);
enum err page_lines(struct buf *out, const struct page_capture *c);
enum err page_rails(struct buf *out, const struct page_capture *c);
enum err page_intervals(struct buf *out, const struct page_capture *c);
enum err page_places(struct buf *out, const struct page_capture *c);
enum err page_sectors(struct buf *out, const struct page_capture *c);

/* "<ul>" with so many sentences; nothing for none. */
enum err page_list(struct buf *out, const char *heading, const char text[][VERDICT_TEXT_MAX],
                   size_t count);

#endif

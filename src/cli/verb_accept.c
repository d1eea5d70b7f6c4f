/* accept: the acceptance test of a drive, from captures or over the adapter; two sheets
 * compared. */
#include "accept/accept.h"
#include "base/file.h"
#include "cli/accept_run.h"
#include "cli/cli.h"
#include "report/accept.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SHEET_BYTES_MAX (4u << 20)

static enum err fits(const struct args *a, struct err_msg *e)
{
    bool adapter = args_has(a, OPT_ADAPTER);
    if (args_has(a, OPT_COMPARE)) {
        if (a->words != 2)
            return err_set(e, ERR_USAGE, "--compare takes two sheets: OLD.json NEW.json");
        if (adapter || args_has(a, OPT_DRIVE) || args_has(a, OPT_OUTPUT))
            return err_set(e, ERR_USAGE, "--compare takes two sheets and nothing else");
        return ERR_OK;
    }
    if (args_value(a, OPT_DRIVE) == NULL)
        return err_set(e, ERR_USAGE,
                       "accept needs --drive PROFILE: without it there are no limits "
                       "(whichend profile list)");
    if (args_has(a, OPT_SCRATCH) && !args_has(a, OPT_HANDS))
        return err_set(e, ERR_USAGE,
                       "--scratch needs --hands: the disk is put in by a person, "
                       "and its name typed back");
    if (adapter == (a->words > 0))
        return err_set(e, ERR_USAGE, "accept takes captures, or --adapter");
    return ERR_OK;
}

/* ---- two sheets ---- */

static enum err compare(const struct args *a, struct buf *out, struct err_msg *e)
{
    struct text_style style = style_of(a);
    struct accept_sheet *s = calloc(2, sizeof *s);
    if (s == NULL)
        return err_set(e, ERR_MEMORY, "out of memory");
    enum err err = report_accept_read(a->word[0], &s[0], e);
    if (err == ERR_OK)
        err = report_accept_read(a->word[1], &s[1], e);
    if (err == ERR_OK)
        err = args_has(a, OPT_JSON) ? report_compare_json(&s[0], &s[1], out)
                                    : report_compare_text(&s[0], &s[1], &style, out);
    free(s);
    return err;
}

/* ---- one sheet ---- */

static enum err save(const struct args *a, const struct accept_sheet *s, struct err_msg *e)
{
    const char *path = args_value(a, OPT_OUTPUT);
    struct out_file f;
    struct buf text;
    if (path == NULL)
        return ERR_OK;
    buf_init(&text, SHEET_BYTES_MAX);
    enum err err = report_accept_json(s, &text);
    if (err == ERR_OK)
        err = out_file_open(&f, path, args_has(a, OPT_REPLACE), e);
    if (err == ERR_OK) {
        if (fwrite(text.data, 1, text.len, f.stream) == text.len) {
            err = out_file_commit(&f, e);
        } else {
            err = err_set(e, ERR_IO, "%s: cannot be written", path);
            out_file_abort(&f);
        }
    }
    buf_release(&text);
    return err;
}

static void head(const struct args *a, struct accept_sheet *s)
{
    const char *serial = args_value(a, OPT_SERIAL);
    if (serial != NULL)
        (void)snprintf(s->serial, sizeof s->serial, "%s", serial);
    if (a->words == 1)
        (void)snprintf(s->source, sizeof s->source, "%s", a->word[0]);
    else if (a->words > 1)
        (void)snprintf(s->source, sizeof s->source, "%s and %zu more captures", a->word[0],
                       a->words - 1);
}

enum err accept_facts_of(const struct args *a, struct accept_facts *out, struct err_msg *e)
{
    const char *by = args_value(a, OPT_WRITTEN_BY);
    out->disk_elsewhere = by != NULL && strcmp(by, "another") == 0;
    if (by != NULL && !out->disk_elsewhere && strcmp(by, "this-drive") != 0)
        return err_set(e, ERR_USAGE, "--written-by is another or this-drive, not '%s'", by);
    return ERR_OK;
}

static enum err from_captures(const struct args *a, struct accept_sheet *s, struct err_msg *e)
{
    struct profile *drive = NULL;
    struct line_map map = {0};
    struct progress p;
    struct accept_options o = {
        .map = &map, .progress = progress_share, .progress_ctx = &p, .stop = &stop_asked};
    o.elsewhere = args_value(a, OPT_ELSEWHERE);
    enum err err = accept_facts_of(a, &o.facts, e);
    if (err == ERR_OK)
        err = args_line_map(a, &map, e);
    if (err == ERR_OK)
        err = args_drive(a, OPT_DRIVE, &drive, e);
    if (err == ERR_OK) {
        o.drive = drive;
        progress_begin(&p, a, "reading");
        err = accept_captures(a->word, a->words, &o, s, e);
        progress_end(&p);
    }
    profile_free(drive);
    line_map_release(&map);
    return err;
}

static int status_of(const struct accept_sheet *s)
{
    switch (accept_sheet_outcome(s)) {
    case ACCEPT_FAILED:
        return EXIT_FAULT;
    case ACCEPT_INCOMPLETE:
        return EXIT_UNDECIDED;
    case ACCEPT_PASSED:
        break;
    }
    return EXIT_SUCCESS;
}

enum err verb_accept(const struct args *a, struct answer *r, struct err_msg *e)
{
    struct text_style style = style_of(a);
    TRY(fits(a, e));
    if (args_has(a, OPT_COMPARE))
        return compare(a, &r->out, e);
    struct accept_sheet *s = calloc(1, sizeof *s);
    if (s == NULL)
        return err_set(e, ERR_MEMORY, "out of memory");
    enum err err =
        args_has(a, OPT_ADAPTER) ? accept_over_adapter(a, s, e) : from_captures(a, s, e);
    if (err == ERR_OK) {
        head(a, s);
        err = args_has(a, OPT_JSON) ? report_accept_json(s, &r->out)
                                    : report_accept_text(s, &style, &r->out);
    }
    if (err == ERR_OK)
        err = save(a, s, e);
    if (err == ERR_OK)
        r->status = status_of(s);
    free(s);
    return err;
}

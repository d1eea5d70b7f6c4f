/* report: a case on one page of HTML. */
#include "base/file.h"
#include "cli/cli.h"
#include "report/accept.h"
#include "report/page.h"
#include "report/text.h"
#include "report/verdict.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define SHEETS_MAX 2

/* What the judge's pass over the captures leaves for the page. */
struct kept {
    struct survey survey[PAGE_DRAWN_MAX];
    struct trace *trace[PAGE_DRAWN_MAX];
    size_t drawn;
};

static void keep_chunk(void *ctx, size_t capture, const struct capture_info *info,
                       const struct chunk *c)
{
    struct kept *k = ctx;
    if (capture < k->drawn) {
        trace_chunk(k->trace[capture], info, c);
    }
}

static void keep_survey(void *ctx, size_t capture, struct survey *s)
{
    struct kept *k = ctx;
    if (capture < k->drawn) {
        k->survey[capture] = *s;
        memset(s, 0, sizeof *s);
    }
}

static struct kept *kept_new(size_t captures)
{
    struct kept *k = calloc(1, sizeof *k);
    if (k == NULL) {
        return NULL;
    }
    k->drawn = captures < PAGE_DRAWN_MAX ? captures : PAGE_DRAWN_MAX;
    for (size_t i = 0; i < k->drawn; i++) {
        k->trace[i] = calloc(1, sizeof *k->trace[i]);
        if (k->trace[i] == NULL) {
            k->drawn = i; /* fewer plots rather than no page */
        }
    }
    return k;
}

static void kept_free(struct kept *k)
{
    for (size_t i = 0; k != NULL && i < PAGE_DRAWN_MAX; i++) {
        survey_release(&k->survey[i]);
        free(k->trace[i]);
    }
    free(k);
}

/* With --replace too, never one of the files that the page is about. */
static enum err spare_the_case(const struct case_file *c, const char *path, struct err_msg *e)
{
    struct stat out;
    struct stat in;
    if (stat(path, &out) != 0) {
        return ERR_OK;
    }
    for (size_t i = 0; i <= c->capture_count; i++) {
        const char *name = i < c->capture_count ? c->capture[i].path : c->path;
        if (stat(name, &in) == 0 && in.st_dev == out.st_dev && in.st_ino == out.st_ino) {
            return err_set(e, ERR_CREATE, "%s: belongs to the case", path);
        }
    }
    return ERR_OK;
}

static enum err say(const struct args *a, const struct page *p, const char *path, size_t bytes,
                    struct answer *r)
{
    char count[TEXT_COUNT_MAX];
    char answer[VERDICT_ANSWER_MAX];
    if (args_has(a, OPT_JSON)) {
        return report_page_json(p, path, bytes, &r->out);
    }
    TRY(text_wrapf(&r->out, 0, "At fault:", 10, "%s", verdict_answer(p->v, answer)));
    return text_wrapf(&r->out, 0, "Page:", 10, "%s (%s bytes)", path,
                      text_count((int64_t)bytes, count));
}

static enum err write_page(const struct args *a, const struct page *p, const char *path,
                           struct out_file *f, struct answer *r, struct err_msg *e)
{
    struct buf html;
    buf_init(&html, PAGE_BYTES_MAX);
    enum err code = report_page(p, &html);
    code = code == ERR_OK ? say(a, p, path, html.len, r) : code;
    if (code == ERR_OK && fwrite(html.data, 1, html.len, f->stream) != html.len) {
        code = err_set(e, ERR_IO, "%s: %s", path, strerror(errno));
    }
    code = code == ERR_OK ? out_file_commit(f, e) : code;
    buf_release(&html);
    return code;
}

static enum err weigh(const struct args *a, const struct case_file *c,
                      const struct profile_path *path, struct kept *k, struct verdict *v,
                      struct err_msg *e)
{
    struct progress show;
    struct judge_watch watch = {keep_chunk, keep_survey, k};
    struct judge_options o = {.profiles = path,
                              .progress = progress_step,
                              .progress_ctx = &show,
                              .stop = &stop_asked,
                              .watch = &watch};
    progress_begin(&show, a, "judging");
    enum err code = judge_case(c, &o, v, e);
    progress_end(&show);
    return code;
}

/* The sheets and the archive that the call names. */
struct beside {
    struct accept_sheet sheet[SHEETS_MAX];
    size_t sheets;
    struct archive_map disk;
    bool has_disk;
};

static enum err read_archive(const char *folder, struct archive_map *out, struct err_msg *e)
{
    struct buf path;
    enum err code = path_join(&path, folder, "disk.json");
    code = code == ERR_OK ? archive_map_read(path.data, out, e) : code;
    buf_release(&path);
    return code;
}

static enum err read_beside(const struct args *a, struct beside *b, struct err_msg *e)
{
    for (size_t i = 0; i < a->given_count; i++) {
        if (a->given[i].opt != OPT_SHEET) {
            continue;
        }
        if (b->sheets == SHEETS_MAX) {
            return err_set(e, ERR_USAGE, "--sheet is given more than twice");
        }
        TRY(report_accept_read(a->given[i].value, &b->sheet[b->sheets], e));
        b->sheets++;
    }
    b->has_disk = args_has(a, OPT_ARCHIVE);
    return b->has_disk ? read_archive(args_value(a, OPT_ARCHIVE), &b->disk, e) : ERR_OK;
}

static enum err make(const struct args *a, const struct case_file *c,
                     const struct profile_path *path, const struct beside *b, const char *out,
                     struct out_file *f, struct answer *r, struct err_msg *e)
{
    struct kept *k = kept_new(c->capture_count);
    struct verdict *v = calloc(1, sizeof *v);
    enum err code = ERR_MEMORY;
    if (k != NULL && v != NULL) {
        struct page p = {.c = c,
                         .v = v,
                         .survey = k->survey,
                         .trace = (const struct trace *const *)k->trace,
                         .drawn = k->drawn,
                         .sheet = b->sheet,
                         .sheets = b->sheets,
                         .disk = b->has_disk ? &b->disk : NULL,
                         .program = "whichend " WHICHEND_VERSION,
                         .verbose = args_has(a, OPT_VERBOSE)};
        code = weigh(a, c, path, k, v, e);
        code = code == ERR_OK ? write_page(a, &p, out, f, r, e) : code;
        verdict_release(v);
    }
    free(v);
    kept_free(k);
    return code;
}

/* The output is opened first: what cannot be written needs no weighing. */
static enum err report(const struct args *a, const struct case_file *c,
                       const struct profile_path *path, const char *out, struct answer *r,
                       struct err_msg *e)
{
    struct out_file f = {0};
    struct beside *b = calloc(1, sizeof *b);
    if (b == NULL) {
        return ERR_MEMORY;
    }
    enum err code = read_beside(a, b, e);
    code = code == ERR_OK ? spare_the_case(c, out, e) : code;
    code = code == ERR_OK ? out_file_open(&f, out, args_has(a, OPT_REPLACE), e) : code;
    code = code == ERR_OK ? make(a, c, path, b, out, &f, r, e) : code;
    out_file_abort(&f);
    archive_map_release(&b->disk);
    free(b);
    return code;
}

enum err verb_report(const struct args *a, struct answer *r, struct err_msg *e)
{
    struct profile_path *path = NULL;
    struct case_file c;
    struct buf name;
    TRY(args_profiles(a, &path, e));
    enum err code = case_file_read(a->word[0], path, &c, e);
    if (code == ERR_OK) {
        const char *out = args_value(a, OPT_OUTPUT);
        code = path_join(&name, out == NULL ? c.folder : "", out == NULL ? "report.html" : out);
        code = code == ERR_OK ? report(a, &c, path, name.data, r, e) : code;
        buf_release(&name);
        case_file_release(&c);
    }
    profile_path_free(path);
    return code;
}

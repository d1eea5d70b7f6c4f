#include "cli/cli.h"
#include "evidence/survey.h"

#include <stdlib.h>

static enum err survey(const struct args *a, const struct profile *drive,
                       const struct line_map *map, struct survey *out, struct err_msg *e)
{
    struct survey_options o = {.drive = drive, .stop = &stop_asked, .progress = progress_share};
    struct progress p;
    struct capture *c = NULL;
    enum err code = capture_open(a->word[0], map, &c, e);
    if (code != ERR_OK) {
        return code;
    }
    progress_begin(&p, a, "reading");
    o.progress_ctx = &p;
    code = survey_run(c, &o, out, e);
    progress_end(&p);
    capture_close(c);
    return code;
}

static enum err measure(const struct args *a, const struct profile *drive, struct buf *out,
                        struct err_msg *e)
{
    struct line_map map = {0};
    struct text_style style = style_of(a);
    struct survey *s = calloc(1, sizeof *s);
    enum err code = s != NULL ? args_line_map(a, &map, e) : ERR_MEMORY;
    if (code == ERR_OK) {
        code = survey(a, drive, &map, s, e);
    }
    if (code == ERR_OK) {
        code = args_has(a, OPT_JSON) ? report_measure_json(s, out)
                                     : report_measure_text(a->word[0], s, &style, out);
        survey_release(s);
    }
    line_map_release(&map);
    free(s);
    return code;
}

enum err verb_measure(const struct args *a, struct answer *r, struct err_msg *e)
{
    struct profile *drive = NULL;
    enum err code = args_drive(a, OPT_DRIVE_PROFILE, &drive, e);
    code = code == ERR_OK ? measure(a, drive, &r->out, e) : code;
    profile_free(drive);
    return code;
}

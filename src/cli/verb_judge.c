#include "cli/cli.h"
#include "judge/judge.h"

#include <stdlib.h>

static int verdict_status(const struct verdict *v)
{
    if (v->grade != GRADE_DECIDED) {
        return EXIT_UNDECIDED;
    }
    return v->leading == END_NONE ? EXIT_SUCCESS : EXIT_FAULT;
}

static enum err judge(const struct args *a, const struct case_file *c,
                      const struct profile_path *path, struct answer *r, struct err_msg *e)
{
    struct text_style style = style_of(a);
    struct progress p;
    struct judge_options o = {
        .profiles = path, .progress = progress_step, .progress_ctx = &p, .stop = &stop_asked};
    struct verdict *v = calloc(1, sizeof *v);
    enum err code = ERR_MEMORY;
    if (v != NULL) {
        progress_begin(&p, a, "judging");
        code = judge_case(c, &o, v, e);
        progress_end(&p);
    }
    if (code == ERR_OK) {
        code = args_has(a, OPT_JSON) ? report_verdict_json(v, &r->out)
                                     : report_verdict_text(v, &style, &r->out);
        r->status = verdict_status(v);
        verdict_release(v);
    }
    free(v);
    return code;
}

enum err verb_judge(const struct args *a, struct answer *r, struct err_msg *e)
{
    struct profile_path *path = NULL;
    struct case_file c;
    enum err code = args_profiles(a, &path, e);
    if (code == ERR_OK) {
        code = case_file_read(a->word[0], path, &c, e);
        if (code == ERR_OK) {
            code = judge(a, &c, path, r, e);
            case_file_release(&c);
        }
    }
    profile_path_free(path);
    return code;
}

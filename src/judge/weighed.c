#include "judge/weighed.h"

enum err weigh_case(const struct case_file *c, const struct judge_options *o,
                    struct weighed *out, struct verdict *v, struct err_msg *e)
{
    *out = (struct weighed){0};
    TRY(gather(c, o, &out->g, v, e));
    TRY(catalogue_load(c, &out->g.wiring, o->profiles, &out->faults, e));
    return infer(&out->g, &out->faults, &out->n);
}

void weighed_release(struct weighed *w)
{
    inference_release(&w->n);
    catalogue_release(&w->faults);
    gathered_release(&w->g);
}

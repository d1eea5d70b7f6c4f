#include "judge/weighed.h"

#include <string.h>

/* A name in [examined NAME] is one of the catalogue's. */
static enum err check_examined(const struct case_file *c, const struct catalogue *known,
                               struct err_msg *e)
{
    for (size_t i = 0; i < c->told_count; i++) {
        const struct told *t = &c->told[i];
        bool found = strcmp(t->section, "examined") != 0;

        for (size_t k = 0; k < known->count && !found; k++)
            found = !strcmp(known->fault[k].name, t->name);
        if (!found)
            return err_set(e, ERR_FORMAT,
                           "%s:%d: no fault of this machine, drive and cable "
                           "is named '%s'",
                           c->ini.path, t->place, t->name);
    }
    return ERR_OK;
}

enum err weigh_case(const struct case_file *c, const struct judge_options *o,
                    struct weighed *out, struct verdict *v, struct err_msg *e)
{
    *out = (struct weighed){0};
    TRY(gather(c, o, &out->g, v, e));
    TRY(catalogue_load(c, &out->g.wiring, o->profiles, &out->faults, e));
    TRY(check_examined(c, &out->faults, e));
    return infer(&out->g, &out->faults, &out->n);
}

void weighed_release(struct weighed *w)
{
    inference_release(&w->n);
    catalogue_release(&w->faults);
    gathered_release(&w->g);
}

#include "judge/weighed.h"

#include "judge/texts.h"

#include <stdio.h>
#include <string.h>

/* The same fault of another line: drive.SELECT1.dead, where this case has drive.SELECT0.dead.
 */
static bool of_another_line(const char *name, const char *known)
{
    const char *dot = strchr(name, '.'), *end = strrchr(name, '.');
    const char *known_dot = strchr(known, '.'), *known_end = strrchr(known, '.');
    char line[24];

    if (!dot || !known_dot || dot == end || known_dot == known_end ||
        dot - name != known_dot - known || strncmp(name, known, (size_t)(dot - name)) != 0 ||
        strcmp(end, known_end) != 0)
        return false;
    snprintf(line, sizeof line, "%.*s", (int)(end - dot - 1), dot + 1);
    return line_by_name(line) != LINE_NONE;
}

static void forget_examined(struct feature_list *l, const char *fault)
{
    size_t kept = 0;

    for (size_t i = 0; i < l->count; i++)
        if (l->item[i].kind != FEATURE_EXAMINED || strcmp(l->item[i].fault, fault) != 0)
            l->item[kept++] = l->item[i];
    l->count = kept;
}

/* A name in [examined NAME] is one of the catalogue's. Which lines a case has may change with
 * the unit that a later capture shows to be in use: what was looked for on another one says
 * nothing.
 */
static enum err check_examined(const struct case_file *c, const struct catalogue *known,
                               struct gathered *g, struct verdict *v, struct err_msg *e)
{
    for (size_t i = 0; i < c->told_count; i++) {
        const struct told *t = &c->told[i];
        bool found = strcmp(t->section, "examined") != 0, alike = false;

        for (size_t k = 0; k < known->count && !found; k++) {
            found = !strcmp(known->fault[k].name, t->name);
            alike = alike || of_another_line(t->name, known->fault[k].name);
        }
        if (!found && !alike)
            return err_set(e, ERR_FORMAT,
                           "%s:%d: no fault of this machine, drive and cable "
                           "is named '%s'",
                           c->ini.path, t->place, t->name);
        if (!found) {
            forget_examined(&g->features, t->name);
            verdict_warn(v, "%s is not of the unit in use: that it was looked for says nothing",
                         t->name);
        }
    }
    return ERR_OK;
}

enum err weigh_case(const struct case_file *c, const struct judge_options *o,
                    struct weighed *out, struct verdict *v, struct err_msg *e)
{
    *out = (struct weighed){0};
    TRY(gather(c, o, &out->g, v, e));
    TRY(catalogue_load(c, &out->g.wiring, o->profiles, &out->faults, e));
    TRY(check_examined(c, &out->faults, &out->g, v, e));
    return infer(&out->g, &out->faults, &out->n);
}

void weighed_release(struct weighed *w)
{
    inference_release(&w->n);
    catalogue_release(&w->faults);
    gathered_release(&w->g);
}

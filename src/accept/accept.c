#include "accept/accept.h"

#include "accept/accept_private.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define SEEK_MS 10.0 /* between two seeks a machine that steps fast takes longer */

struct share {
    const struct accept_options *o;
    size_t at, of;
};

static void progress(void *ctx, double part)
{
    const struct share *s = ctx;
    if (s->o->progress != NULL)
        s->o->progress(s->o->progress_ctx, ((double)s->at + part) / (double)s->of);
}

static enum err read_one(struct evidence *v, const char *path, struct share *share,
                         struct err_msg *e)
{
    struct survey_options o = {
        .drive = v->drive, .progress = progress, .progress_ctx = share, .stop = v->o->stop};
    struct capture *c = NULL;
    struct survey *s = calloc(1, sizeof *s);
    if (s == NULL)
        return err_set(e, ERR_MEMORY, "out of memory");
    enum err err = capture_open(path, v->o->map, &c, e);
    if (err == ERR_OK)
        err = survey_run(c, &o, s, e);
    capture_close(c);
    if (err != ERR_OK) {
        free(s);
        return err;
    }
    v->survey[v->captures] = s;
    v->own_writing[v->captures] = accept_own_writing(s);
    struct listen *l = &v->listen[v->captures++];
    TRY(capture_open(path, v->o->map, &c, e));
    err = listen_run(c, v->drive, v->o->stop, l, e);
    capture_close(c);
    if (err != ERR_OK || !s->flux_usable || l->steps == 0 || v->own_writing[v->captures - 1])
        return err;
    TRY(capture_open(path, v->o->map, &c, e));
    err = settle_read(c, l, &s->flux, v->o->stop, &v->settle, e);
    capture_close(c);
    return err;
}

static enum err read_elsewhere(struct evidence *v, struct err_msg *e)
{
    struct survey_options o = {.drive = v->drive, .stop = v->o->stop};
    struct capture *c = NULL;
    if (v->o->elsewhere == NULL)
        return ERR_OK;
    v->elsewhere = calloc(1, sizeof *v->elsewhere);
    if (v->elsewhere == NULL)
        return err_set(e, ERR_MEMORY, "out of memory");
    enum err err = capture_open(v->o->elsewhere, v->o->map, &c, e);
    if (err == ERR_OK)
        err = survey_run(c, &o, v->elsewhere, e);
    capture_close(c);
    if (err != ERR_OK) {
        free(v->elsewhere);
        v->elsewhere = NULL;
    }
    return err;
}

static enum err where_the_head_went(struct evidence *v)
{
    double slow_ms =
        2.1 * profile_min(v->drive, "step_interval_ms", 3); /* as the plan begins */
    struct travel t = {.track0_tells = track0_tells(v),
                       .stroke = (int32_t)profile_number(v->drive, "cylinders", 80) + 5,
                       .seek_ns = (int64_t)(1e6 * fmax(SEEK_MS, slow_ms))};
    for (size_t i = 0; i < v->captures; i++)
        TRY(moves_add(&v->moves, v->survey[i], &v->listen[i], &t));
    return ERR_OK;
}

static void fill(struct evidence *v)
{
    struct accept_sheet *s = v->sheet;
    *s = (struct accept_sheet){.place_count = 0};
    (void)snprintf(s->drive, sizeof s->drive, "%s", profile_name(v->drive));
    (void)snprintf(s->title, sizeof s->title, "%s", profile_title(v->drive));
    if (v->o->facts.rest != NULL)
        (void)snprintf(s->rest, sizeof s->rest, "%s", v->o->facts.rest);
    accept_lines_rotation(v);
    accept_lines_motion(v);
    accept_lines_read(v);
    accept_lines_bench(v);
    accept_lines_write(v);
}

enum err accept_captures(const char *const *path, size_t count, const struct accept_options *o,
                         struct accept_sheet *out, struct err_msg *e)
{
    struct evidence v = {.o = o, .drive = o->drive, .sheet = out};
    struct share share = {o, 0, count};
    enum err err = ERR_OK;
    if (count > ACCEPT_CAPTURES_MAX)
        return err_set(e, ERR_USAGE, "more than %d captures", ACCEPT_CAPTURES_MAX);
    for (; err == ERR_OK && share.at < count; share.at++)
        err = read_one(&v, path[share.at], &share, e);
    if (err == ERR_OK)
        err = read_elsewhere(&v, e);
    if (err == ERR_OK)
        err = where_the_head_went(&v);
    if (err == ERR_OK)
        fill(&v);
    else
        (void)err_set(e, err, "%s", err_text(err));
    for (size_t i = 0; i < v.captures; i++) {
        survey_release(v.survey[i]);
        free(v.survey[i]);
        listen_release(&v.listen[i]);
    }
    if (v.elsewhere != NULL)
        survey_release(v.elsewhere);
    free(v.elsewhere);
    moves_release(&v.moves);
    settle_release(&v.settle);
    return err;
}

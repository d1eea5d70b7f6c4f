/* One session played into capture files, and what was true meanwhile. */
#include "base/file.h"
#include "capture/capture.h"
#include "scene.h"
#include "sim/play.h"
#include "sim/world.h"

#include <stdio.h>
#include <string.h>

struct watch {
    struct scene *s;
    struct world *world;
    struct capture_writer *writer[TAPS];
    struct sim_result result;
    struct err_msg *e;
    int64_t last_step;
    int last_cylinder;
    int64_t seen;
    bool lit, dark;
    bool index_low, read_low;
};

const char *scene_file(const struct scene *s, int tap, char out[48])
{
    snprintf(out, 48, "%s-%s.%s", s->prefix, tap == TAP_DRIVE_END ? "drive-end" : "machine-end",
             s->wec ? "wec" : "vcd");
    return out;
}

static bool low_at_drive(const struct world *w, enum line line)
{
    int net = w->nets.drive[line];
    return net != NET_NONE && w->nets.net[net].low;
}

/* The drive as it is at this moment, whatever a tap's lead makes of it. */
static void look(struct watch *w)
{
    const struct drive *d = &w->world->drive;
    struct facts *f = &w->s->facts;
    if (w->seen++ == 0) {
        f->turned_before = d->motor && d->powered;
        w->last_cylinder = d->cylinder;
    }
    w->lit = w->lit || d->selected;
    w->dark = w->dark || !d->selected;
    f->turned = f->turned || d->spindle.speed > 0.3;
    f->moved = f->moved || d->cylinder != w->last_cylinder;
    if (d->last_step_at != w->last_step && d->selected && d->cylinder == 0 &&
        w->last_cylinder == 0 && !(d->active & LINE_BIT(LINE_DIR)))
        f->bumps++;
    w->last_step = d->last_step_at;
    w->last_cylinder = d->cylinder;
    bool index = low_at_drive(w->world, LINE_INDEX);
    bool read = low_at_drive(w->world, LINE_RDATA);
    f->index_pulses += index && !w->index_low;
    f->read_pulses += read && !w->read_low;
    w->index_low = index;
    w->read_low = read;
    f->powered = f->powered || d->powered;
}

static enum err edge(void *ctx, int tap, int64_t tick, enum line line, enum level level)
{
    struct watch *w = ctx;
    look(w);
    if (!w->s->used[tap] || (w->s->left_out[tap] & LINE_BIT(line)))
        return ERR_OK;
    w->s->hash[tap] =
        (w->s->hash[tap] ^ (uint64_t)tick ^ (uint64_t)line << 56 ^ (uint64_t)level << 48) *
        UINT64_C(0x100000001B3);
    return w->writer[tap] != NULL ? capture_writer_edge(w->writer[tap], tick, line, level, w->e)
                                  : ERR_OK;
}

static enum err open_writer(struct watch *w, int tap, const struct sim_tap_info *t,
                            const char *folder)
{
    struct scene *s = w->s;
    struct capture_info info = {.format = s->wec ? CAPTURE_WEC : CAPTURE_VCD};
    char name[48];
    struct buf path;
    info.tick = t->tick;
    info.lines = t->lines & ~s->left_out[tap];
    info.sample_fs = t->sample_fs;
    snprintf(info.role, sizeof info.role, "inline");
    snprintf(info.tap, sizeof info.tap, "%s",
             tap == TAP_DRIVE_END ? "drive-end" : "machine-end");
    TRY(path_join(&path, folder, scene_file(s, tap, name)));
    enum err err =
        capture_writer_open(path.data, info.format, &info, true, &w->writer[tap], w->e);
    buf_release(&path);
    return err;
}

/* With the machine off nothing pulls but what is tied to ground: turned and shifted plugs,
 * shorts, and the drive's own stuck receiver. */
static void host_off(struct scene *s, const struct world *w)
{
    const struct drive *d = &w->drive;
    struct facts *f = &s->facts;
    int select = w->nets.drive[d->spec->select];
    int motor = w->nets.drive[LINE_MOTOR];
    bool stuck_select = sim_spec_has_line(&w->spec, FAULT_DRIVE_LINE_STUCK, d->spec->select);
    bool stuck_motor = sim_spec_has_line(&w->spec, FAULT_DRIVE_LINE_STUCK, LINE_MOTOR);
    bool logic = d->powered && !sim_spec_has(&w->spec, FAULT_LOGIC_DEAD);
    f->lamp_off =
        logic && (stuck_select ||
                  (select != NET_NONE && w->nets.net[select].grounded &&
                   !sim_spec_has_line(&w->spec, FAULT_DRIVE_LINE_DEAD, d->spec->select)));
    f->motor_off = logic && d->spec->motor_line && !sim_spec_has(&w->spec, FAULT_MOTOR_DEAD) &&
                   (stuck_motor || (motor != NET_NONE && w->nets.net[motor].grounded));
    f->sags = sim_spec_has(&w->spec, FAULT_SUPPLY_SAGS);
}

static enum err finish(struct watch *w)
{
    enum err err = ERR_OK;
    for (int i = 0; i < TAPS; i++) {
        struct capture_writer *out = w->writer[i];
        w->writer[i] = NULL;
        if (out != NULL && err == ERR_OK)
            err = capture_writer_finish(out, w->result.end_tick[i], w->e);
        else
            capture_writer_abort(out);
    }
    return err;
}

static enum err record(struct watch *w, struct sim_play *p, const char *folder)
{
    struct scene *s = w->s;
    struct sim_sink sink = {w, edge};
    w->world = sim_play_world(p);
    for (int i = 0; i < TAPS; i++) {
        struct sim_tap_info info;
        sim_play_info(p, i, &info);
        s->pulled_up[i] = info.pull_up_ohm > 0;
        if (folder != NULL && s->used[i])
            TRY(open_writer(w, i, &info, folder));
    }
    TRY(sim_play_run(p, &sink, &w->result, w->e));
    s->outcome = w->result.outcome;
    snprintf(s->error, sizeof s->error, "%s", w->result.error);
    s->facts.lit_ever = w->lit;
    s->facts.lit_always = w->lit && !w->dark;
    host_off(s, w->world);
    return finish(w);
}

enum err scene_play(struct scene *s, const char *folder, struct err_msg *e)
{
    struct sim_options o = {.fault = {s->fault[0], s->fault[1]},
                            .seed = s->seed,
                            .machine = s->set->machine,
                            .drive = s->set->drive,
                            .cable = s->set->cable,
                            .asked = s->asked,
                            .machine_end = s->used[TAP_MACHINE_END],
                            .drive_end = s->used[TAP_DRIVE_END],
                            .both_one_clock = s->one_clock,
                            .known_good_disk = true,
                            .pull_up_ohm = s->pull_up_ohm,
                            .flux_seconds = 0.25}; /* more than a turn of each read */
    struct watch w = {
        .s = s,
        .e = e,
        .last_step = -NS_PER_S,
    };
    struct sim_play *p = NULL;
    s->hash[0] = s->hash[1] = UINT64_C(0xCBF29CE484222325);
    s->facts = (struct facts){.powered = false};
    TRY(sim_play_open(&o, &p, e));
    enum err err = record(&w, p, folder);
    for (int i = 0; i < TAPS; i++)
        capture_writer_abort(w.writer[i]);
    sim_play_close(p);
    return err;
}

/* A session written down as a case: case.ini and one capture a tap. */
#include "base/buf.h"
#include "base/file.h"
#include "capture/capture.h"
#include "sim/play.h"
#include "sim/rng.h"
#include "sim/spec.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static const char *const TAP_WORDS[TAPS] = {"machine-end", "drive-end"};

struct files {
    struct capture_writer *writer[TAPS];
    struct err_msg *e;
};

static enum err write_edge(void *ctx, int tap, int64_t tick, enum line line, enum level level)
{
    struct files *f = ctx;
    return capture_writer_edge(f->writer[tap], tick, line, level, f->e);
}

static enum err make_folder(const char *folder, struct err_msg *e)
{
    if (mkdir(folder, 0777) == 0)
        return ERR_OK;
    if (errno != EEXIST)
        return err_set(e, ERR_CREATE, "%s: %s", folder, strerror(errno));
    DIR *dir = opendir(folder);
    if (dir == NULL)
        return err_set(e, ERR_CREATE, "%s: %s", folder, strerror(errno));
    bool empty = true;
    for (const struct dirent *d = readdir(dir); d != NULL; d = readdir(dir))
        empty = empty && (strcmp(d->d_name, ".") == 0 || strcmp(d->d_name, "..") == 0);
    closedir(dir);
    return empty ? ERR_OK : err_set(e, ERR_CREATE, "%s is not empty", folder);
}

static const char *file_of(const struct sim_options *o, int tap)
{
    static const char *const vcd[TAPS] = {"machine-end.vcd.gz", "drive-end.vcd.gz"};
    static const char *const wec[TAPS] = {"machine-end.wec", "drive-end.wec"};
    return o->wec ? wec[tap] : vcd[tap];
}

static enum err open_writer(struct files *f, const struct sim_options *o, const char *folder,
                            int tap, const struct sim_tap_info *t)
{
    struct buf path;
    struct capture_info info = {.format = o->wec ? CAPTURE_WEC : CAPTURE_VCD};
    info.tick = t->tick;
    info.lines = t->lines;
    info.sample_fs = t->sample_fs;
    memcpy(info.role, "inline", sizeof "inline");
    memcpy(info.tap, TAP_WORDS[tap], strlen(TAP_WORDS[tap]) + 1);
    memcpy(info.detail, "rehearsal", sizeof "rehearsal");
    buf_init(&path, 8192);
    enum err err = path_join(&path, folder, file_of(o, tap));
    if (err == ERR_OK)
        err = capture_writer_open(path.data, info.format, &info, false, &f->writer[tap], f->e);
    buf_release(&path);
    return err;
}

static enum err finish(struct files *f, const struct sim_result *r)
{
    enum err err = ERR_OK;
    for (int i = 0; i < TAPS; i++) {
        struct capture_writer *w = f->writer[i];
        f->writer[i] = NULL;
        if (w != NULL && err == ERR_OK)
            err = capture_writer_finish(w, r->end_tick[i], f->e);
        else
            capture_writer_abort(w);
    }
    return err;
}

/* Invented machines, one a controller. */
static const char *machine_word(const struct sim_options *o)
{
    static const char *const words[][2] = {{"wd177x", "Heron 2"},
                                           {"wd179x", "Dunlin"},
                                           {"upd765", "Tern 80"},
                                           {"82077", "Curlew"}};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        if (strstr(profile_name(o->machine), words[i][0]) != NULL)
            return words[i][1];
    }
    return "Plover";
}

/* Titles say no more than a person who brings a machine in. */
static const char *title_of(const struct sim_options *o, const struct sim_result *r)
{
    static const char *const well[] = {"checked before it goes back to its owner",
                                       "with a drive from the shelf",
                                       "a routine look at the drive bus"};
    static const char *const ill[] = {
        "the disk drive gives trouble", "drive trouble since it came down from the loft",
        "the owner cannot use the disks", "trouble with the drive, more is not known"};
    struct rng rng;
    sim_rng_seed(&rng, o->seed, 90);
    if (strcmp(r->outcome, "worked") == 0)
        return well[sim_rng_between(&rng, 0, 2)];
    return ill[sim_rng_between(&rng, 0, 3)];
}

/* The name of a profile that differs in kind, for a case that names the wrong one. */
static const char *wrong_drive(const char *name)
{
    bool hd = strstr(name, "hd") != NULL || strcmp(name, "drive-8") == 0;
    return hd ? "drive-35-dd" : "drive-525-hd";
}

static const char *wrong_machine(const char *name)
{
    return strstr(name, "wd17") != NULL ? "controller-82077" : "controller-wd179x";
}

static const char *disk_word(const struct spec *s, const struct sim_options *o)
{
    bool bad = sim_spec_has(s, FAULT_DISK_BLANK) || sim_spec_has(s, FAULT_DISK_WORN) ||
               sim_spec_has(s, FAULT_DISK_ABSENT) || sim_spec_has(s, FAULT_DENSITY_WRONG) ||
               sim_spec_has(s, FAULT_HARD_SECTORED);
    return o->known_good_disk && !bad ? "known-good" : "unknown";
}

static enum err asked_list(struct buf *b, unsigned asked)
{
    const char *between = "";
    for (unsigned bit = 1; bit < 1u << ASKED_WORDS; bit <<= 1) {
        if (!(asked & bit))
            continue;
        TRY(buf_printf(b, "%s%s", between, asked_word(bit)));
        between = ", ";
    }
    return ERR_OK;
}

static enum err capture_section(struct buf *b, const struct sim_options *o,
                                const struct sim_result *r, int tap,
                                const struct sim_tap_info *t)
{
    TRY(buf_printf(b, "\n[capture %s]\nfile = %s\nrole = inline\ntap = %s\n", TAP_WORDS[tap],
                   file_of(o, tap), TAP_WORDS[tap]));
    if (t->pull_up_ohm > 0)
        TRY(buf_printf(b, "pull-up = %d\n", t->pull_up_ohm));
    else
        TRY(buf_str(b, "pull-up = none\n"));
    if (o->both_one_clock)
        TRY(buf_str(b, "run = one\n"));
    TRY(buf_str(b, "asked = "));
    TRY(asked_list(b, o->asked != 0 ? o->asked : ASKED_READ));
    TRY(buf_printf(b, "\noutcome = %s\n", r->outcome));
    return r->error[0] != '\0' ? buf_printf(b, "error = %s\n", r->error) : ERR_OK;
}

/* A .wec comes from an adapter. Its self-check would have found an open lead, so there none was
 * done. */
static enum err selfcheck_section(struct buf *b, const struct spec *s)
{
    if (sim_spec_has(s, FAULT_LEAD_OPEN) || sim_spec_has(s, FAULT_SAMPLED_TOO_SLOWLY))
        return buf_str(b, "\n[selfcheck]\nresult = not-done\n");
    return buf_str(b, "\n[selfcheck]\nresult = passed\nhours-ago = 1\n");
}

static enum err case_text(struct buf *b, const struct spec *s, const struct sim_options *o,
                          const struct sim_result *r, const struct sim_play *p)
{
    bool misfit = sim_spec_has(s, FAULT_PROFILE_WRONG);
    bool machine = misfit && o->seed % 4 == 3;
    const char *drive = profile_name(o->drive);
    const char *chip = profile_name(o->machine);
    TRY(buf_printf(b, "[case]\ntitle = %s on the Lantern Street bench: %s\n", machine_word(o),
                   title_of(o, r)));
    TRY(buf_printf(b, "machine = %s\n", machine ? wrong_machine(chip) : chip));
    TRY(buf_printf(b, "drive = %s\n", misfit && !machine ? wrong_drive(drive) : drive));
    TRY(buf_printf(b, "cable = %s\ndisk = %s\n", profile_name(o->cable), disk_word(s, o)));
    TRY(buf_printf(b, "drives-attached = %d\n", sim_spec_has(s, FAULT_SELECT_SHARED) ? 2 : 1));
    if (o->asked & (ASKED_WRITE | ASKED_FORMAT))
        TRY(buf_str(b, "scratch = yes\n"));
    if (o->wec)
        TRY(selfcheck_section(b, s));
    for (int tap = 0; tap < TAPS; tap++) {
        struct sim_tap_info t;
        sim_play_info(p, tap, &t);
        if (t.used)
            TRY(capture_section(b, o, r, tap, &t));
    }
    return ERR_OK;
}

static enum err write_case(const struct sim_options *o, const char *folder,
                           const struct sim_play *p, const struct sim_result *r,
                           struct err_msg *e)
{
    struct buf text;
    struct buf path;
    struct out_file file = {0};
    buf_init(&text, 16384);
    buf_init(&path, 8192);
    enum err err = path_join(&path, folder, "case.ini");
    if (err == ERR_OK)
        err = case_text(&text, sim_play_spec(p), o, r, p);
    if (err == ERR_OK)
        err = out_file_open(&file, path.data, false, e);
    if (err == ERR_OK && fwrite(text.data, 1, text.len, file.stream) != text.len)
        err = err_set(e, ERR_IO, "%s: %s", path.data, strerror(errno));
    if (err == ERR_OK)
        err = out_file_commit(&file, e);
    out_file_abort(&file);
    buf_release(&path);
    buf_release(&text);
    return err;
}

static enum err run(struct files *f, const struct sim_options *o, const char *folder,
                    struct sim_play *p, struct sim_result *r)
{
    struct sim_sink sink = {f, write_edge};
    for (int tap = 0; tap < TAPS; tap++) {
        struct sim_tap_info t;
        sim_play_info(p, tap, &t);
        if (t.used)
            TRY(open_writer(f, o, folder, tap, &t));
    }
    TRY(sim_play_run(p, &sink, r, f->e));
    return finish(f, r);
}

enum err sim_rehearse(const struct sim_options *o, const char *folder, struct err_msg *e)
{
    struct sim_play *p = NULL;
    struct sim_result r;
    struct files f = {.e = e};
    if (!o->machine_end && !o->drive_end)
        return err_set(e, ERR_USAGE, "no tap to record at");
    TRY(sim_play_open(o, &p, e));
    enum err err = make_folder(folder, e);
    if (err == ERR_OK)
        err = run(&f, o, folder, p, &r);
    for (int i = 0; i < TAPS; i++)
        capture_writer_abort(f.writer[i]);
    if (err == ERR_OK)
        err = write_case(o, folder, p, &r, e);
    sim_play_close(p);
    return err == ERR_OK ? ERR_OK : err_set(e, err, "%s: %s", folder, err_text(err));
}

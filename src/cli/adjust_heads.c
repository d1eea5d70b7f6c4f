/* The margin of the read signal from both sides of a track, on several protected disks. It
 * aligns nothing: only an alignment disk does. */
#include "cli/adjust.h"
#include "report/json.h"
#include "report/text.h"
#include "signal/signal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DISKS_MIN      3
#define DISKS_MAX      8
#define APPROACH_STEPS 4
#define FALLS_MAX      2000000u
#define TURNS_USUAL    3

struct margin {
    bool measured;
    double percent, uncertainty, ns;
    unsigned turns, sectors; /* sectors good, of all turns */
};

struct disk_shown {
    const char *name;
    bool protected_;
    struct margin at[2][2]; /* [side][from inside] */
};

struct heads {
    struct adjust *j;
    struct tick tick;
    int cylinder, at; /* at: where the head is */
    bool side1;
    unsigned turns;
    uint8_t level[LINE_COUNT];
    bool listening;
    unsigned index_falls;
    int64_t *fall_ns;
    size_t falls, cap;
    bool holed; /* something was lost meanwhile */
    struct disk_shown disk[DISKS_MAX];
    size_t disks;
};

static size_t names(const struct args *a, const char *name[DISKS_MAX])
{
    size_t n = 0;
    for (size_t i = 0; i < a->given_count && n < DISKS_MAX; i++)
        if (a->given[i].opt == OPT_DISK_NAME)
            name[n++] = a->given[i].value;
    return n;
}

enum err adjust_heads_check(const struct args *a, struct err_msg *e)
{
    const char *name[DISKS_MAX];
    size_t n = names(a, name);
    if (n < DISKS_MIN)
        return err_set(e, ERR_USAGE,
                       "the heads' margin is shown on at least %d protected disks that "
                       "different drives wrote: --disk-name NAME for each",
                       DISKS_MIN);
    for (size_t i = 0; i < n; i++)
        for (size_t k = 0; k < i; k++)
            if (strcmp(name[i], name[k]) == 0)
                return err_set(e, ERR_USAGE, "disk '%s' is named twice", name[i]);
    if (!args_has(a, OPT_MARK_SCRIBED))
        return err_set(e, ERR_USAGE,
                       "scribe a mark across carriage and chassis first, so that the position "
                       "can be found again, then give --mark-scribed. Position rarely moves "
                       "unless somebody moved it");
    return ERR_OK;
}

/* ---- events ---- */

static enum err on_edge(void *ctx, uint64_t tick, enum line line, enum level level,
                        struct err_msg *e)
{
    struct heads *h = ctx;
    int64_t ns = 0;
    bool fell = level == LEVEL_LOW && h->level[line] == LEVEL_HIGH;
    h->level[line] = (uint8_t)level;
    if (!h->listening || !fell)
        return ERR_OK;
    h->index_falls += line == LINE_INDEX;
    if (line != LINE_RDATA || h->falls == FALLS_MAX)
        return ERR_OK;
    if (array_grow((void **)&h->fall_ns, &h->cap, h->falls + 1, sizeof *h->fall_ns,
                   FALLS_MAX) != ERR_OK)
        return err_set(e, ERR_MEMORY, "out of memory");
    if (ticks_to_ns((int64_t)tick, h->tick, &ns))
        h->fall_ns[h->falls++] = ns;
    return ERR_OK;
}

static enum err on_lost(void *ctx, const struct frame_loss *loss, struct err_msg *e)
{
    struct heads *h = ctx;
    (void)e;
    h->holed = true;
    for (int i = 0; i < LINE_COUNT; i++)
        if (loss->lines & WIRE_BIT(i))
            h->level[i] = LEVEL_UNKNOWN;
    return ERR_OK;
}

/* ---- one reading ---- */

static enum err margin_of(const struct heads *h, struct margin *out, struct err_msg *e)
{
    struct flux_read read;
    struct flux_options o = {.sample_ns = 1e9 / h->j->u.session.caps.tick_hz};
    uint32_t *gap = h->falls > 1 ? calloc(h->falls - 1, sizeof *gap) : NULL;
    *out = (struct margin){.turns = h->turns};
    if (h->falls < 2)
        return ERR_OK;
    if (gap == NULL)
        return err_set(e, ERR_MEMORY, "out of memory");
    for (size_t i = 0; i + 1 < h->falls; i++) {
        int64_t ps = 1000 * (h->fall_ns[i + 1] - h->fall_ns[i]);
        gap[i] = ps > UINT32_MAX ? UINT32_MAX : (uint32_t)ps;
    }
    struct flux f = {h->fall_ns[0], gap, h->falls - 1};
    enum err err = flux_decode(&f, &o, &read);
    free(gap);
    if (err != ERR_OK)
        return err_set(e, err, "out of memory");
    out->measured = read.quality.encoding != ENC_NONE && read.quality.cell_ns > 0 && !h->holed;
    out->percent = read.quality.margin_percent;
    out->uncertainty = read.quality.margin_u_percent;
    out->ns = read.quality.margin_ns;
    for (size_t i = 0; i < read.sector_count; i++)
        out->sectors += read.sector[i].id_good && read.sector[i].data == FIELD_GOOD;
    flux_read_release(&read);
    return ERR_OK;
}

/* Some turns from where the head stands. */
static enum err listen(struct heads *h, struct margin *out, struct err_msg *e)
{
    int64_t limit = 2 * (int64_t)(h->turns + 1) * adapter_use_turn_ms(&h->j->u);
    h->falls = 0;
    h->index_falls = 0;
    h->holed = false;
    h->listening = true;
    for (int64_t ms = 0; h->index_falls < h->turns + 1 && ms < limit && !stop_asked; ms += 10) {
        TRY(session_wait(&h->j->u.session, 10, e));
        TRY(adjust_held(h->j, e));
    }
    h->listening = false;
    return margin_of(h, out, e);
}

static enum err go(struct heads *h, int to, struct err_msg *e)
{
    TRY(adapter_use_seek(&h->j->u, h->at, to, e));
    h->at = to;
    return ERR_OK;
}

/* The track again from either side, and both heads each time. */
static enum err round_about(struct heads *h, struct disk_shown *d, struct err_msg *e)
{
    int last = adapter_use_limits(&h->j->u).last_cylinder;
    for (int inside = 0; inside < 2; inside++) {
        int from = inside ? h->cylinder + APPROACH_STEPS : h->cylinder - APPROACH_STEPS;
        from = from < 0 ? 0 : from > last ? last : from;
        TRY(go(h, from, e));
        TRY(go(h, h->cylinder, e));
        for (int side = 0; side <= h->side1 && !stop_asked; side++) {
            TRY(adapter_use_side(&h->j->u, side, e));
            TRY(listen(h, &d->at[side][inside], e));
        }
        TRY(adapter_use_side(&h->j->u, 0, e));
    }
    return ERR_OK;
}

static void live(const struct heads *h, const struct disk_shown *d)
{
    if (!h->j->live)
        return;
    (void)fprintf(stderr, "\r\033[K%.20s:", d->name);
    for (int side = 0; side <= h->side1; side++)
        (void)fprintf(stderr, "  side %d: %.1f %% from outside, %.1f %% from inside", side,
                      d->at[side][0].percent, d->at[side][1].percent);
}

static enum err one_disk(struct heads *h, struct disk_shown *d, struct err_msg *e)
{
    char question[160];
    (void)snprintf(question, sizeof question, "Disk '%.60s' in, protected, lever closed?",
                   d->name);
    TRY(adapter_use_ask(&h->j->u, question, e));
    TRY(adapter_use_drive_on(&h->j->u, e));
    TRY(adapter_use_spin_up(&h->j->u, e));
    TRY(adjust_held(h->j, e));
    d->protected_ = h->level[LINE_WPROT] == LEVEL_LOW;
    if (!d->protected_ && h->j->live)
        (void)fprintf(stderr, "%.60s is not protected: nothing is read from it\n", d->name);
    if (d->protected_ && !stop_asked) {
        TRY(adapter_use_restore(&h->j->u, e));
        h->at = 0;
        bool again = h->j->live && h->j->turns == 0;
        if (again)
            (void)fputs("Enter goes on to the next disk.\n", stderr);
        do {
            TRY(round_about(h, d, e));
            live(h, d);
        } while (again && !adjust_ended());
        if (h->j->live)
            (void)fputs("\n", stderr);
    }
    return session_drive(&h->j->u.session,
                         WIRE_SELECTS | (WIRE_MOTORS & h->j->u.session.caps.lines_out), 0, e);
}

/* ---- text and JSON ---- */

static const char NO_ALIGNMENT[] =
    "this is no alignment: radial position, azimuth and index-to-burst are not measured, they "
    "need an alignment disk";
static const char NOT_LOOSE[] = "leave the heads' screws alone: position rarely moves unless "
                                "somebody moved it. Clean heads "
                                "and look at the other causes first";

static enum err cell(const struct margin *m, char out[40])
{
    if (m->measured)
        (void)snprintf(out, 40, "%.1f +/- %.1f", m->percent, m->uncertainty);
    else
        (void)snprintf(out, 40, "not measured");
    return ERR_OK;
}

static enum err say_text(const struct heads *h, struct buf *out)
{
    struct text_style style = style_of(h->j->a);
    TRY(buf_printf(out,
                   "Margin at cylinder %d, in %% of the half window, at one error in a "
                   "million\n\n%-28s %-6s %-18s %s\n",
                   h->cylinder, "disk", "side", "from outside", "from inside"));
    for (size_t i = 0; i < h->disks; i++) {
        const struct disk_shown *d = &h->disk[i];
        if (!d->protected_)
            TRY(buf_printf(out, "%-28.28s not read: it is not protected\n", d->name));
        for (int side = 0; d->protected_ && side <= h->side1; side++) {
            char a[40];
            char b[40];
            TRY(cell(&d->at[side][0], a));
            TRY(cell(&d->at[side][1], b));
            TRY(buf_printf(out, "%-28.28s %-6d %-18s %s\n", d->name, side, a, b));
        }
    }
    TRY(text_heading(out, &style, "What this is"));
    TRY(text_wrap(out, 2, "-", 4, NO_ALIGNMENT));
    TRY(text_wrap(out, 2, "-", 4,
                  "disks from different drives that differ from one another tell of those "
                  "drives; all of them worse from one side tell of this one"));
    TRY(text_heading(out, &style, "Cautions"));
    return text_wrap(out, 2, "-", 4, NOT_LOOSE);
}

static json_t *margin_json(const struct margin *m, int side, int inside, bool *failed)
{
    json_t *o = json_object();
    json_put(o, "side", json_integer(side), failed);
    json_put(o, "approach", json_text(inside ? "inside" : "outside"), failed);
    json_put(o, "turns", json_integer(m->turns), failed);
    json_put(o, "margin_percent", json_number_if(m->measured, m->percent, 2), failed);
    json_put(o, "uncertainty_percent", json_number_if(m->measured, m->uncertainty, 2), failed);
    json_put(o, "margin_ns", json_number_if(m->measured, m->ns, 1), failed);
    json_put(o, "sectors_good", json_integer(m->sectors), failed);
    return o;
}

static enum err say_json(const struct heads *h, struct buf *out)
{
    bool failed = false;
    json_t *root = json_object();
    json_t *disks = json_array();
    for (size_t i = 0; i < h->disks; i++) {
        const struct disk_shown *d = &h->disk[i];
        json_t *o = json_object();
        json_t *list = json_array();
        for (int k = 0; d->protected_ && k < (h->side1 ? 4 : 2); k++)
            json_push(list, margin_json(&d->at[k / 2][k % 2], k / 2, k % 2, &failed), &failed);
        json_put(o, "name", json_text(d->name), &failed);
        json_put(o, "protected", json_boolean(d->protected_), &failed);
        json_put(o, "readings", list, &failed);
        json_push(disks, o, &failed);
    }
    json_put(root, "schema", json_text("whichend.adjust/1"), &failed);
    json_put(root, "adapter", json_text(h->j->u.session.link.name), &failed);
    json_put(root, "what", json_text("heads"), &failed);
    json_put(root, "drive", json_text(profile_name(h->j->u.drive)), &failed);
    json_put(root, "cylinder", json_integer(h->cylinder), &failed);
    json_put(root, "disks", disks, &failed);
    json_put(root, "alignment", json_text(NO_ALIGNMENT), &failed);
    json_put(root, "caution", json_text(NOT_LOOSE), &failed);
    return json_finish(root, failed, out);
}

static bool all_measured(const struct heads *h)
{
    for (size_t i = 0; i < h->disks; i++)
        for (int k = 0; k < (h->side1 ? 4 : 2); k++)
            if (!h->disk[i].at[k / 2][k % 2].measured)
                return false;
    return true;
}

static enum err run(struct heads *h, struct err_msg *e)
{
    const struct frame_sink sink = {h, on_edge, on_lost, NULL, NULL};
    struct adjust *j = h->j;
    TRY(adjust_begin(j, (uint32_t)adapter_use_lines(&j->u, false) & j->u.session.caps.lines_in,
                     &sink, e));
    for (size_t i = 0; i < h->disks && !stop_asked; i++)
        TRY(one_disk(h, &h->disk[i], e));
    return ERR_OK;
}

static enum err say(const struct heads *h, struct buf *out, int *status, struct err_msg *e)
{
    enum err err = args_has(h->j->a, OPT_JSON) ? say_json(h, out) : say_text(h, out);
    *status = all_measured(h) ? 0 : EXIT_UNDECIDED;
    return err == ERR_OK ? ERR_OK : err_set(e, err, "out of memory");
}

enum err adjust_heads(struct adjust *j, struct buf *out, int *status, struct err_msg *e)
{
    const char *name[DISKS_MAX];
    int64_t last = adapter_use_limits(&j->u).last_cylinder;
    int64_t cylinder = last / 2;
    struct heads *h = calloc(1, sizeof *h);
    if (h == NULL)
        return err_set(e, ERR_MEMORY, "out of memory");
    h->j = j;
    h->tick = session_tick(&j->u.session);
    h->turns = j->turns > 0 ? (unsigned)j->turns : TURNS_USUAL;
    h->side1 = profile_number(j->u.drive, "sides", 2) >= 2;
    h->disks = names(j->a, name);
    for (size_t i = 0; i < h->disks; i++)
        h->disk[i].name = name[i];
    memset(h->level, LEVEL_UNKNOWN, sizeof h->level);
    enum err err = args_number(j->a, OPT_CYLINDERS, 0, last, &cylinder, e);
    h->cylinder = (int)cylinder;
    if (err == ERR_OK)
        err = adjust_end(j, run(h, e), e);
    if (err == ERR_OK)
        err = say(h, out, status, e);
    free(h->fall_ns);
    free(h);
    return err;
}

#include "capture/writer.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#define PLACES_MAX 12 /* what the reader holds */

/* A row is the state of everything after all changes at its time. */
struct csv_writer {
    struct output *out; /* borrowed */
    struct capture_info info;
    int places;      /* decimals of a second */
    int64_t unit_fs; /* of the last of them */
    bool pending;    /* the row at `stamp` is not written yet */
    bool any;        /* there has been a row */
    int64_t stamp;
    line_set moved; /* lines that changed in the pending row */
    unsigned told;  /* rails likewise */
    uint8_t level[LINE_COUNT];
    bool rail_known[RAIL_COUNT];
    int32_t millivolt[RAIL_COUNT];
};

static void csv_write_close(void *state)
{
    free(state);
}

/* The fewest decimals that hold the tick without a rest, in steps of three. */
static void choose_places(struct csv_writer *c)
{
    c->places = 0;
    c->unit_fs = FS_PER_S;
    while (c->places < PLACES_MAX &&
           (c->info.tick.fs_den != 1 || c->info.tick.fs_num % c->unit_fs != 0)) {
        c->places += 3;
        c->unit_fs /= 1000;
    }
}

static enum err csv_write_open(struct output *out, const struct capture_info *info,
                               void **state, struct err_msg *e)
{
    struct csv_writer *c = calloc(1, sizeof *c);
    if (c == NULL)
        return err_set(e, ERR_MEMORY, "%s: out of memory", out->name);
    c->out = out;
    c->info = *info;
    memset(c->level, LEVEL_UNKNOWN, sizeof c->level);
    choose_places(c);
    enum err err = output_printf(out, e, "time");
    for (size_t i = 0; i < LINE_COUNT && err == ERR_OK; i++)
        if (info->lines & LINE_BIT(i))
            err = output_printf(out, e, ",%s", line_name((enum line)i));
    for (size_t i = 0; i < RAIL_COUNT && err == ERR_OK; i++)
        if (info->rails & 1u << i)
            err = output_printf(out, e, ",%s", rail_name((enum rail)i));
    if (err == ERR_OK)
        err = output_printf(out, e, "\n");
    if (err != ERR_OK) {
        csv_write_close(c);
        return err;
    }
    *state = c;
    return ERR_OK;
}

static enum err put_time(struct csv_writer *c, struct err_msg *e)
{
    int64_t per_second = FS_PER_S / c->unit_fs;
    if (c->places == 0)
        return output_printf(c->out, e, "%" PRId64, c->stamp);
    return output_printf(c->out, e, "%" PRId64 ".%0*" PRId64, c->stamp / per_second, c->places,
                         c->stamp % per_second);
}

static enum err put_voltage(struct csv_writer *c, size_t rail, struct err_msg *e)
{
    int64_t mv = c->millivolt[rail];
    int64_t size = mv < 0 ? -mv : mv;
    if (!c->rail_known[rail])
        return output_add(c->out, ",", 1, e);
    return output_printf(c->out, e, ",%s%" PRId64 ".%03" PRId64, mv < 0 ? "-" : "", size / 1000,
                         size % 1000);
}

static enum err put_row(struct csv_writer *c, struct err_msg *e)
{
    enum err err = put_time(c, e);
    for (size_t i = 0; i < LINE_COUNT && err == ERR_OK; i++) {
        const char cell[2] = {',', "01x"[c->level[i]]};
        if (c->info.lines & LINE_BIT(i))
            err = output_add(c->out, cell, sizeof cell, e);
    }
    for (size_t i = 0; i < RAIL_COUNT && err == ERR_OK; i++)
        if (c->info.rails & 1u << i)
            err = put_voltage(c, i, e);
    if (err == ERR_OK)
        err = output_add(c->out, "\n", 1, e);
    c->pending = false;
    c->any = true;
    c->moved = 0;
    c->told = 0;
    return err;
}

/* Go on to the row at `tick`; the one before is written. */
static enum err go_to(struct csv_writer *c, int64_t tick, struct err_msg *e)
{
    int64_t stamp;
    if (!ticks_to_units(tick, c->info.tick, c->unit_fs, &stamp))
        return err_set(e, ERR_FORMAT, "%s: the capture is too long to be written as CSV",
                       c->out->name);
    if (c->pending && stamp != c->stamp)
        TRY(put_row(c, e));
    c->stamp = stamp;
    return ERR_OK;
}

static enum err csv_write_edge(void *state, int64_t tick, enum line line, enum level level,
                               struct err_msg *e)
{
    struct csv_writer *c = state;
    TRY(go_to(c, tick, e));
    if ((c->moved & LINE_BIT(line)) != 0)
        TRY(put_row(c, e)); /* a second edge at one time needs a row of its own */
    c->level[line] = (uint8_t)level;
    c->moved |= LINE_BIT(line);
    c->pending = true;
    return ERR_OK;
}

static enum err csv_write_rail(void *state, int64_t tick, enum rail rail, int32_t millivolt,
                               struct err_msg *e)
{
    struct csv_writer *c = state;
    TRY(go_to(c, tick, e));
    if ((c->told & 1u << rail) != 0)
        TRY(put_row(c, e));
    c->millivolt[rail] = millivolt;
    c->rail_known[rail] = true;
    c->told |= 1u << rail;
    c->pending = true;
    return ERR_OK;
}

static enum err csv_write_finish(void *state, int64_t end_tick, struct err_msg *e)
{
    struct csv_writer *c = state;
    int64_t before = c->stamp;
    TRY(go_to(c, end_tick, e));
    return c->pending || !c->any || c->stamp > before ? put_row(c, e) : ERR_OK;
}

const struct format_writer CSV_WRITER = {csv_write_open, csv_write_edge,   csv_write_rail,
                                         NULL,           csv_write_finish, csv_write_close};

#include "sim/machine.h"
#include "sim/world.h"

#include <stdlib.h>
#include <string.h>

static enum status step_once(struct machine *m)
{
    struct world *w = m->w;
    sim_machine_pull(m, LINE_STEP, true);
    sim_world_run(w, w->now + m->spec->step_pulse_ns);
    sim_machine_pull(m, LINE_STEP, false);
    m->steps_given++;
    return sim_machine_wait(m, m->spec->step_ns - m->spec->step_pulse_ns);
}

static enum status direction(struct machine *m, bool inward)
{
    sim_machine_pull(m, LINE_DIR, inward);
    return sim_machine_wait(m, m->spec->dir_setup_ns);
}

static enum status restore_once(struct machine *m)
{
    enum status st = direction(m, false);
    for (int i = 0; st == ST_OK && i < m->spec->restore_limit; i++) {
        if (sim_machine_sees(m, LINE_TRK00)) {
            m->cylinder = 0;
            return ST_OK;
        }
        st = step_once(m);
    }
    return st != ST_OK ? st : sim_machine_sees(m, LINE_TRK00) ? ST_OK : ST_NO_TRACK0;
}

enum status sim_chip_restore(struct machine *m)
{
    enum status st = ST_NO_TRACK0;
    for (int i = 0; st == ST_NO_TRACK0 && i < m->spec->restores; i++)
        st = restore_once(m);
    if (st == ST_OK) {
        m->cylinder = 0;
        st = sim_machine_wait(m, m->spec->settle_ns);
    }
    return st;
}

enum status sim_chip_seek(struct machine *m, int cylinder)
{
    enum status st = ST_OK;
    if (cylinder != m->cylinder)
        st = direction(m, cylinder > m->cylinder);
    while (st == ST_OK && m->cylinder != cylinder) {
        st = step_once(m);
        m->cylinder += cylinder > m->cylinder ? 1 : -1;
    }
    sim_machine_pull(m, LINE_LOWCUR, cylinder > 43);
    return st == ST_OK ? sim_machine_wait(m, m->spec->settle_ns) : st;
}

static void listen(struct machine *m, bool on)
{
    const struct disk_format *f = &m->w->spec.format;
    if (on)
        sim_separator_start(&m->separator, f->fm, f->cell_ns, m->spec->capture_range,
                            m->spec->free_run, m->w->now);
    m->reading = on;
}

/* Until an identifier or data field has gone by. `first_pulse` began the count of the chip's
 * limit. */
static enum status next_field(struct machine *m, int first_pulse, int64_t since)
{
    struct world *w = m->w;
    const struct separator *s = &m->separator;
    while (!s->id_new && !s->data_new) {
        int64_t last = m->index_last > since ? m->index_last : since;
        int64_t limit = last + m->spec->host_limit_ns;
        if (m->broken)
            return ST_BROKEN;
        if (w->now >= w->end || w->err != ERR_OK)
            return ST_CUT;
        if (m->index_count - first_pulse >= m->spec->search_pulses)
            return ST_NOT_FOUND;
        if (w->now >= limit)
            return m->spec->hangs ? ST_HUNG : ST_TIMEOUT;
        sim_world_step(w, limit < w->end ? limit : w->end);
    }
    return ST_OK;
}

static bool wanted(const struct machine *m, const struct sector_id *id, int side, int sector)
{
    return id->good && id->cylinder == m->cylinder && id->sector == sector &&
           (!m->spec->compares_head || id->head == side);
}

/* Find an identifier; ST_OK just behind its check bytes. */
static enum status find_id(struct machine *m, int side, int sector, int first_pulse,
                           int64_t since)
{
    struct separator *s = &m->separator;
    for (;;) {
        enum status st = next_field(m, first_pulse, since);
        if (st != ST_OK)
            return st;
        bool id = s->id_new;
        s->id_new = s->data_new = false;
        if (id && wanted(m, &s->id, side, sector))
            return ST_OK;
        if (id && !s->id.good && m->spec->compares_head)
            return ST_CHECK; /* chips of this family end the command */
    }
}

static enum status prepare(struct machine *m, int side)
{
    struct world *w = m->w;
    bool turned = sim_machine_sees(m, LINE_READY);
    if (m->spec->waits_ready && !turned)
        return ST_NOT_READY;
    sim_machine_pull(m, LINE_SIDE, side == 1);
    sim_machine_pull(m, LINE_HLOAD, true);
    bool loads = (m->spec->lines & w->spec.drive.lines & LINE_BIT(LINE_HLOAD)) != 0;
    enum status st = sim_machine_wait(m, loads ? 50 * NS_PER_MS : 200 * NS_PER_US);
    if (st == ST_OK && (m->placed_cylinder != m->cylinder || m->placed_side != side)) {
        m->placed_cylinder = m->cylinder;
        m->placed_side = side;
        sim_world_open_flux(w);
    }
    return st;
}

/* The data mark must come within 43 bytes of the identifier, 30 in FM (wd177x.dam_win). */
static int64_t mark_window(const struct machine *m)
{
    const struct disk_format *f = &m->w->spec.format;
    return (int64_t)(f->cell_ns * 16.0 * (f->fm ? 30 : 43) * 1.1);
}

enum status sim_chip_read(struct machine *m, int side, int sector, uint8_t *data)
{
    enum status st = prepare(m, side);
    if (st != ST_OK)
        return st;
    struct separator *s = &m->separator;
    int first_pulse = m->index_count;
    int64_t since = m->w->now;
    size_t size = (size_t)128 << m->w->spec.format.size_code;
    listen(m, true);
    while (st == ST_OK) {
        st = find_id(m, side, sector, first_pulse, since);
        int64_t id_end = s->field_end;
        if (st == ST_OK)
            st = next_field(m, first_pulse, since);
        if (st != ST_OK || !s->data_new || s->data_mark_at - id_end > mark_window(m))
            continue; /* no data field before the next identifier, or too far behind: search on
                       */
        st = s->data_good && (size_t)s->data_len == size ? ST_OK : ST_CHECK;
        memcpy(data, s->body, size);
        break;
    }
    listen(m, false);
    return st;
}

/* Give cells as WDATA pulses from time t on. stop_pulse: until that many index pulses were
 * counted. */
static enum status give_cells(struct machine *m, const struct cells *c, double t,
                              int stop_pulse)
{
    struct world *w = m->w;
    double cell = w->spec.format.cell_ns;
    for (size_t i = 0; i < c->count; i++) {
        int64_t at = (int64_t)(t + cell * (double)i);
        if (!c->cell[i] || at < w->now)
            continue;
        sim_world_run(w, at);
        if (m->broken)
            return ST_BROKEN;
        if (w->now >= w->end || w->err != ERR_OK)
            return ST_CUT;
        if (stop_pulse != 0 && m->index_count >= stop_pulse)
            return ST_OK;
        sim_machine_pull(m, LINE_WDATA, true);
        sim_world_run(w, at + m->spec->write_pulse_ns);
        sim_machine_pull(m, LINE_WDATA, false);
    }
    return ST_OK;
}

static enum status write_field(struct machine *m, const uint8_t *data)
{
    const struct disk_format *f = &m->w->spec.format;
    struct cells c = {0};
    sim_cells_data_field(&c, f, data);
    int gap_bytes = f->fm ? 11 : 22;
    double start = (double)m->separator.field_end + f->cell_ns * 16.0 * gap_bytes;
    sim_world_run(m->w, (int64_t)start - m->spec->write_first_ns);
    sim_machine_pull(m, LINE_WGATE, true);
    enum status st = c.failed ? ST_CUT : give_cells(m, &c, start, 0);
    sim_world_run(m->w, m->w->now + m->spec->write_first_ns);
    sim_machine_pull(m, LINE_WGATE, false);
    sim_cells_release(&c);
    return st;
}

enum status sim_chip_write(struct machine *m, int side, int sector, const uint8_t *data)
{
    enum status st = prepare(m, side);
    if (st == ST_OK && sim_machine_sees(m, LINE_WPROT))
        st = ST_PROTECTED;
    if (st != ST_OK)
        return st;
    listen(m, true);
    st = find_id(m, side, sector, m->index_count, m->w->now);
    listen(m, false);
    return st == ST_OK ? write_field(m, data) : st;
}

enum status sim_chip_format(struct machine *m, int side)
{
    struct world *w = m->w;
    const struct disk_format *f = &w->spec.format;
    enum status st = prepare(m, side);
    if (st == ST_OK && sim_machine_sees(m, LINE_WPROT))
        st = ST_PROTECTED;
    if (st == ST_OK)
        st = sim_machine_wait_index(m, 1);
    if (st != ST_OK)
        return st;
    struct cells c = {0};
    sim_cells_track(&c, f, &w->disk.content, m->cylinder, side,
                    (size_t)(1.3 * f->turn_ns / f->cell_ns));
    sim_machine_pull(m, LINE_WGATE, true);
    st = c.failed ? ST_CUT
                  : give_cells(m, &c, (double)w->now + (double)m->spec->write_first_ns,
                               m->index_count + 1);
    sim_world_run(w, w->now + m->spec->write_first_ns);
    sim_machine_pull(m, LINE_WGATE, false);
    sim_cells_release(&c);
    return st;
}

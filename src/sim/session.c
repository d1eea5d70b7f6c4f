/* What the machine's program does: bring the drive up, restore, seek, read, write, try again,
 * give up. */
#include "sim/machine.h"
#include "sim/world.h"

#include <string.h>

enum op_kind { OP_RESTORE, OP_SEEK, OP_READ, OP_WRITE, OP_FORMAT };

struct op {
    enum op_kind kind;
    int cylinder, side, sector;
};

#define OPS_MAX 48

struct plan {
    struct op op[OPS_MAX];
    int count;
};

static void add(struct plan *p, enum op_kind kind, int cylinder, int side, int sector)
{
    if (p->count < OPS_MAX)
        p->op[p->count++] = (struct op){kind, cylinder, side, sector};
}

static void add_reads(struct plan *p, const struct machine *m, int cylinder, int side,
                      int first, int count)
{
    const struct disk_format *f = &m->w->spec.format;
    if (side >= f->sides)
        return;
    for (int i = 0; i < count; i++)
        add(p, OP_READ, cylinder, side, 1 + (first + i) % f->sectors);
}

static void plan_reads(struct plan *p, struct machine *m, unsigned asked)
{
    const int *target = m->w->spec.target;
    int sectors = m->w->spec.format.sectors;
    int first = (int)sim_rng_between(&m->rng, 0, sectors - 1);
    add(p, OP_SEEK, target[0], 0, 0);
    add_reads(p, m, target[0], 0, first, (asked & ASKED_VERIFY) ? sectors : 3);
    add_reads(p, m, target[0], 1, first + 2, (asked & ASKED_VERIFY) ? sectors : 2);
    add(p, OP_SEEK, target[1], 0, 0);
    add_reads(p, m, target[1], 0, first + 4, 2);
    add(p, OP_SEEK, target[2], 0, 0);
    add_reads(p, m, target[2], 1, first + 1, 1);
    add_reads(p, m, target[2], 0, first + 3, 1);
}

static void plan_session(struct plan *p, struct machine *m, unsigned asked)
{
    const int *target = m->w->spec.target;
    *p = (struct plan){0};
    add(p, OP_RESTORE, 0, 0, 0);
    if (asked & (ASKED_BOOT | ASKED_POWER_ON)) {
        add_reads(p, m, 0, 0, 0, 3);
        add_reads(p, m, 0, 1, 0, 1);
    }
    if (asked & (ASKED_READ | ASKED_VERIFY | ASKED_BOOT))
        plan_reads(p, m, asked);
    if (asked & ASKED_WRITE) {
        add(p, OP_SEEK, target[1], 0, 0);
        add(p, OP_WRITE, target[1], 0, 3);
        if (m->w->spec.format.sides > 1)
            add(p, OP_WRITE, target[1], 1, 2);
    }
    if (asked & ASKED_FORMAT) {
        add(p, OP_SEEK, target[1] + 1, 0, 0);
        add(p, OP_FORMAT, target[1] + 1, 0, 0);
        add_reads(p, m, target[1] + 1, 0, 0, 2);
    }
    if (asked & ASKED_SEEK) {
        for (int i = 0; i < TARGETS; i++)
            add(p, OP_SEEK, target[i], 0, 0);
    }
}

static enum status read_checked(struct machine *m, const struct op *op)
{
    uint8_t data[SECTOR_BYTES_MAX];
    uint8_t stored[SECTOR_BYTES_MAX];
    size_t size = (size_t)128 << m->w->spec.format.size_code;
    enum status st = sim_chip_read(m, op->side, op->sector, data);
    if (st != ST_OK)
        return st;
    sim_sector_fill(&m->w->disk.content, &m->w->spec.format, op->cylinder, op->side, op->sector,
                    stored);
    return memcmp(data, stored, size) == 0 ? ST_OK : ST_WRONG_DATA;
}

static enum status write_checked(struct machine *m, const struct op *op)
{
    uint8_t data[SECTOR_BYTES_MAX];
    uint8_t back[SECTOR_BYTES_MAX];
    size_t size = (size_t)128 << m->w->spec.format.size_code;
    const struct disk_content fresh = {.seed = m->w->disk.content.seed + 1};
    sim_sector_fill(&fresh, &m->w->spec.format, op->cylinder, op->side, op->sector, data);
    enum status st = sim_chip_write(m, op->side, op->sector, data);
    if (st == ST_OK)
        st = sim_machine_wait(m, 3 * NS_PER_MS);
    if (st == ST_OK)
        st = sim_chip_read(m, op->side, op->sector, back);
    if (st == ST_OK && memcmp(data, back, size) != 0)
        st = ST_WRONG_DATA;
    return st;
}

/* A machine that looks at DSKCHG steps once to clear it, and takes a line that stays low for no
 * disk. */
static enum status look_for_disk(struct machine *m)
{
    if (!m->spec->uses_dskchg || !sim_machine_sees(m, LINE_DSKCHG))
        return ST_OK;
    int here = m->cylinder;
    enum status st = sim_chip_seek(m, here + 1);
    if (st == ST_OK)
        st = sim_chip_seek(m, here);
    if (st == ST_OK && sim_machine_sees(m, LINE_DSKCHG))
        st = ST_NOT_READY;
    return st;
}

static enum status perform(struct machine *m, const struct op *op)
{
    enum status st = ST_OK;
    if (op->kind >= OP_READ)
        st = look_for_disk(m);
    if (st == ST_OK && op->kind >= OP_READ && m->cylinder != op->cylinder)
        st = sim_chip_seek(m, op->cylinder);
    if (st != ST_OK)
        return st;
    switch (op->kind) {
    case OP_RESTORE:
        return sim_chip_restore(m);
    case OP_SEEK:
        return sim_chip_seek(m, op->cylinder);
    case OP_READ:
        return read_checked(m, op);
    case OP_WRITE:
        return write_checked(m, op);
    case OP_FORMAT:
        return sim_chip_format(m, op->side);
    }
    return ST_OK;
}

static enum status motor_on(struct machine *m)
{
    sim_machine_pull(m, m->spec->select, true);
    enum status st = sim_machine_wait(m, sim_rng_between(&m->rng, 20, 900) * NS_PER_US);
    sim_machine_pull(m, LINE_DENSITY, m->w->spec.density_low_is_low != m->w->spec.high_density);
    sim_machine_pull(m, m->spec->motor, true);
    m->motor_on = true;
    if (st == ST_OK && m->spec->spin_pulses > 0)
        return sim_machine_wait_index(m, m->spec->spin_pulses);
    return st == ST_OK ? sim_machine_wait(m, m->spec->spin_ns) : st;
}

static enum status wait_ready(struct machine *m)
{
    int64_t until = m->w->now + 2 * NS_PER_S;
    while (m->spec->waits_ready && !sim_machine_sees(m, LINE_READY)) {
        enum status st = sim_machine_wait(m, NS_PER_MS);
        if (st != ST_OK)
            return st;
        if (m->w->now >= until)
            return ST_NOT_READY;
    }
    return ST_OK;
}

static void select_units(struct machine *m, int unit, bool on)
{
    enum line line = (enum line)(LINE_SELECT0 + unit);
    if (line <= LINE_SELECT3)
        sim_machine_pull(m, line, on);
}

static enum status idle(struct machine *m, int64_t ns)
{
    if (!m->spec->polls || m->motor_on)
        return sim_machine_wait(m, ns);
    int64_t until = m->w->now + ns;
    enum status st = ST_OK;
    for (int unit = 0; st == ST_OK && m->w->now < until; unit = (unit + 1) % 4) {
        select_units(m, unit, true);
        st = sim_machine_wait(m, NS_PER_MS);
        select_units(m, unit, false);
    }
    return st;
}

/* A chip that counts index pulses until motor off needs its drive selected; other machines let
 * the drive go and leave the motor on for a while. */
static void motor_off(struct machine *m)
{
    bool counts = m->spec->motor_off_pulses > 0;
    enum status st = ST_OK;
    if (counts)
        st = sim_machine_wait_index(m, m->spec->motor_off_pulses);
    if (st == ST_OK)
        st = sim_machine_wait(m, sim_rng_between(&m->rng, 5, 25) * NS_PER_MS);
    if (st != ST_OK)
        return; /* never counted: the motor stays on */
    sim_machine_pull(m, LINE_HLOAD, false);
    sim_machine_pull(m, LINE_SIDE, false);
    if (!counts) {
        sim_machine_pull(m, m->spec->select, false);
        (void)sim_machine_wait(m, m->spec->motor_off_ns);
    }
    sim_machine_pull(m, m->spec->motor, false);
    m->motor_on = false;
    (void)sim_machine_wait(m, sim_rng_between(&m->rng, 1, 30) * NS_PER_MS);
    sim_machine_pull(m, m->spec->select, false);
}

/* Before a new try: reset a chip that broke off, and from the second time on find track 0
 * again. */
static enum status recover(struct machine *m, const struct op *op, int tries, enum status why)
{
    enum status st = ST_OK;
    if (why == ST_BROKEN) {
        m->broken = false;
        (void)sim_machine_wait(m, sim_rng_between(&m->rng, 60, 250) * NS_PER_MS);
        m->broken = false;
        st = motor_on(m);
    }
    if (st == ST_OK && op->kind >= OP_READ && (tries > 0 || why == ST_BROKEN))
        st = sim_chip_restore(m);
    return st;
}

static enum status with_retries(struct machine *m, const struct op *op, struct sim_result *out)
{
    enum status st = perform(m, op);
    for (int i = 0; i < m->spec->tries && st != ST_OK && st != ST_HUNG && st != ST_CUT; i++) {
        if (st == ST_PROTECTED || st == ST_WRONG_DATA)
            break; /* no use in trying again */
        out->retries++;
        st = recover(m, op, i, st);
        if (st == ST_OK)
            st = perform(m, op);
    }
    return st;
}

static enum status work(struct machine *m, unsigned asked, struct sim_result *out)
{
    struct plan plan;
    plan_session(&plan, m, asked);
    enum status st = motor_on(m);
    for (int i = 0; st == ST_BROKEN && i < 3; i++) {
        m->broken = false;
        out->retries++;
        st = motor_on(m);
    }
    if (st == ST_OK)
        st = wait_ready(m);
    for (int i = 0; st == ST_OK && i < plan.count; i++) {
        if (plan.op[i].kind >= OP_READ)
            (void)sim_machine_wait(m, sim_rng_between(&m->rng, 1, 6) * NS_PER_MS);
        st = with_retries(m, &plan.op[i], out);
        out->operations++;
    }
    return st;
}

static const char *error_word(enum status st)
{
    switch (st) {
    case ST_NOT_FOUND:
        return "record not found";
    case ST_CHECK:
        return "check error";
    case ST_NOT_READY:
        return "drive not ready";
    case ST_PROTECTED:
        return "write protected";
    case ST_NO_TRACK0:
        return "seek error";
    case ST_TIMEOUT:
        return "drive does not answer";
    case ST_OK:
    case ST_WRONG_DATA:
    case ST_BROKEN:
    case ST_HUNG:
    case ST_CUT:
        break;
    }
    return "";
}

static void judge_outcome(enum status st, struct sim_result *out)
{
    const char *word = error_word(st);
    memcpy(out->error, word, strlen(word) + 1);
    out->failures = st != ST_OK;
    if (st == ST_OK)
        out->outcome = out->retries > 0 ? "sometimes" : "worked";
    else if (st == ST_HUNG)
        out->outcome = "hangs";
    else if (st == ST_WRONG_DATA)
        out->outcome = "wrong-data";
    else
        out->outcome = "failed";
}

void sim_machine_session(struct machine *m, struct sim_result *out)
{
    const struct spec *s = &m->w->spec;
    bool quiet = sim_spec_has(s, FAULT_CHIP_DEAD);
    enum status st = quiet ? ST_HUNG : ST_OK;
    if (!quiet)
        (void)idle(m, sim_rng_between(&m->rng, 60, 260) * NS_PER_MS);
    if (sim_spec_has(s, FAULT_SOCKET_CONTACT))
        m->break_at = m->w->now + sim_rng_between(&m->rng, 150, 900) * NS_PER_MS;
    if (quiet || s->asked == ASKED_NOTHING) {
        sim_world_run(m->w, m->w->now + 1500 * NS_PER_MS);
    } else if (s->asked == ASKED_MOTOR) {
        st = motor_on(m);
        sim_world_run(m->w, m->w->now + 1600 * NS_PER_MS);
    } else {
        st = work(m, s->asked, out);
    }
    m->break_at = m->break_end = NEVER;
    m->broken = false;
    if (st != ST_HUNG && st != ST_CUT && !quiet && m->motor_on)
        motor_off(m);
    sim_world_run(m->w, m->w->now + sim_rng_between(&m->rng, 80, 260) * NS_PER_MS);
    out->steps_given = m->steps_given;
    judge_outcome(st, out);
}

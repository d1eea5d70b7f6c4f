#include "accept/listen.h"

#include "base/buf.h"
#include "base/units.h"

#include <math.h>
#include <stdlib.h>

#define STEPS_MAX      ((size_t)1 << 20)
#define TURNS_MAX      ((size_t)65536)
#define STARTS_MAX     ((size_t)256)
#define FOLLOW_NS      (20 * NS_PER_US) /* an output that comes later came by itself */
#define HIDES_NS       (60 * NS_PER_MS) /* after it no seek hides or cuts an index pulse */
#define TURN_FITS      0.2
#define TURN_LONGEST   1.6               /* of a rated turn */
#define TURNS_LEFT_OUT 6                 /* behind a start the speed still comes to rest */
#define TURN_STEADY    0.005             /* two turns so much alike end a start */
#define START_LONGEST  20                /* turns, where no two are: a spindle that hunts */
#define COASTS_NS      (500 * NS_PER_MS) /* longer turns are of a spindle that runs out */
#define LOADS_NS       (300 * NS_PER_MS)
#define STILL_NS       (2 * NS_PER_S) /* motor off for so long: a start from standstill */
#define SELECTS                                                                                \
    (LINE_BIT(LINE_SELECT0) | LINE_BIT(LINE_SELECT1) | LINE_BIT(LINE_SELECT2) |                \
     LINE_BIT(LINE_SELECT3))
#define UNSELECTED_NS (1 * NS_PER_MS)  /* active for so long, it is no glitch */
#define DESELECT_NS   (50 * NS_PER_US) /* outputs have let go by then, slow pull-ups included */

struct ear {
    struct listen *l;
    struct tick tick;
    enum level level[LINE_COUNT];
    int64_t since_ns[LINE_COUNT];
    int64_t now_ns, valid_ns; /* valid: of TRK00 behind a step */
    int64_t step_ns;          /* last */
    bool leading;             /* edge of STEP that moves the head */
    bool selected;
    bool select_known; /* every select line that is recorded has a level */
    line_set selects;  /* recorded */
    /* turns in a row */
    int64_t fall_ns, turn_ns; /* -1, 0: none */
    int64_t longest_ns;       /* a turn that lasts longer is two, with a pulse missing */
    int starting;             /* turns since the motor went on, or nothing was known */
    int turns;                /* likewise, since two of them were alike */
    int64_t select_ns;        /* of the last change */
    bool followed;            /* since the last select */
    bool open_select;         /* one whose outputs are awaited */
    int64_t load_ns;          /* HLOAD went on; -1 never */
    int64_t motor_off_ns;
    bool motor;                 /* some motor line is active */
    struct start_seen *running; /* the start whose pulses are gathered */
};

static bool drive_output(enum line l)
{
    return l == LINE_TRK00 || l == LINE_WPROT || l == LINE_READY || l == LINE_DSKCHG ||
           l == LINE_TWOSIDED;
}

static enum level track0_now(const struct ear *h)
{
    bool settled = h->selected && h->now_ns - h->step_ns >= h->valid_ns &&
                   h->now_ns - h->select_ns >= FOLLOW_NS;
    return settled ? h->level[LINE_TRK00] : LEVEL_UNKNOWN;
}

static enum err on_step(struct ear *h)
{
    struct listen *l = h->l;
    enum level dir = h->level[LINE_DIR];
    if (l->steps == STEPS_MAX) {
        l->truncated = true;
        return ERR_OK;
    }
    TRY(array_grow((void **)&l->step, &l->step_cap, l->steps + 1, sizeof l->step[0],
                   STEPS_MAX));
    l->step[l->steps++] = (struct step_seen){h->now_ns,
                                             dir == LEVEL_UNKNOWN ? 0
                                             : dir == LEVEL_LOW   ? 1
                                                                  : -1,
                                             h->selected, track0_now(h)};
    h->step_ns = h->now_ns;
    return ERR_OK;
}

static void select_ends(struct ear *h)
{
    if (!h->open_select)
        return;
    h->open_select = false;
    h->l->selects += h->followed;
    h->l->selects_silent += !h->followed;
}

static void turns_break(struct ear *h)
{
    h->fall_ns = -1;
    h->turn_ns = 0;
}

static void on_select(struct ear *h)
{
    bool known = true;
    bool selected = false;
    for (int i = LINE_SELECT0; i <= LINE_SELECT3; i++) {
        known = known && (!(h->selects & LINE_BIT(i)) || h->level[i] != LEVEL_UNKNOWN);
        selected = selected || h->level[i] == LEVEL_LOW;
    }
    bool news = known && h->select_known && selected != h->selected;
    if (!known || !h->select_known || news)
        turns_break(h);
    if (news)
        select_ends(h);
    if (known && (news || !h->select_known)) {
        h->select_ns = h->now_ns;
        h->open_select = news && selected;
        h->followed = false;
    }
    h->select_known = known;
    h->selected = known && selected;
}

static enum err keep_turn(struct ear *h, int64_t turn_ns, double off)
{
    struct listen *l = h->l;
    l->turn_to_turn_percent = fmax(l->turn_to_turn_percent, 100 * off);
    if (l->turns == TURNS_MAX)
        return ERR_OK;
    TRY(array_grow((void **)&l->turn_ns, &l->turn_cap, l->turns + 1, sizeof l->turn_ns[0],
                   TURNS_MAX));
    l->turn_ns[l->turns++] = turn_ns;
    return ERR_OK;
}

/* A change of a fifth and more is a pulse that is missing or too many, not the speed's; the
 * index has its own line. */
static enum err on_index(struct ear *h)
{
    int64_t turn = h->fall_ns >= 0 ? h->now_ns - h->fall_ns : 0;
    /* seek-complete may cut a pulse, and select lets one through that has begun before */
    bool hidden = h->now_ns - h->step_ns < HIDES_NS ||
                  (h->selects != 0 && h->now_ns - h->select_ns < FOLLOW_NS);
    double off = h->turn_ns > 0 ? fabs((double)(turn - h->turn_ns)) / (double)h->turn_ns : 1;
    bool off_long = h->motor_off_ns >= 0 && h->now_ns - h->motor_off_ns >= STILL_NS;
    if (hidden) {
        turns_break(h);
        return ERR_OK;
    }
    h->starting += turn > 0;
    h->turns += h->turns > 0 || off < TURN_STEADY || h->starting > START_LONGEST;
    if (turn > 0 && h->turn_ns > 0 && off < TURN_FITS && turn < h->longest_ns &&
        h->turns > TURNS_LEFT_OUT)
        TRY(keep_turn(h, turn, off));
    if (!h->motor && off_long && turn > 0 && turn < COASTS_NS)
        h->l->falls_motor_off++;
    h->turn_ns = turn;
    h->fall_ns = h->now_ns;
    return ERR_OK;
}

/* h->fall_ns stands only where nothing could have cut the pulse's beginning. */
static void index_rose(struct ear *h)
{
    double us = (double)(h->now_ns - h->fall_ns) / 1e3;
    if (h->fall_ns < 0 || h->turns <= TURNS_LEFT_OUT || h->step_ns >= h->fall_ns)
        return;
    h->l->widths += 1;
    h->l->width_us += us;
    h->l->width_square += us * us;
}

static enum err on_motor(struct ear *h, enum level level)
{
    struct listen *l = h->l;
    turns_break(h);
    h->starting = h->turns = 0;
    h->motor = level == LEVEL_LOW;
    if (level != LEVEL_LOW) {
        h->motor_off_ns = h->now_ns;
        h->running = NULL;
        return ERR_OK;
    }
    bool still = h->motor_off_ns >= 0 && h->now_ns - h->motor_off_ns >= STILL_NS;
    if (!still || l->starts == STARTS_MAX)
        return ERR_OK;
    TRY(array_grow((void **)&l->start, &l->start_cap, l->starts + 1, sizeof l->start[0],
                   STARTS_MAX));
    h->running = &l->start[l->starts++];
    *h->running = (struct start_seen){.on_ns = h->now_ns, .ready_ns = -1};
    return ERR_OK;
}

/* An output fell just behind select: it was active before and is let through now. */
static void on_output(struct ear *h, enum line line)
{
    int64_t late = h->now_ns - h->select_ns;
    if (!h->open_select || late > FOLLOW_NS)
        return;
    h->followed = true;
    if (late >= h->l->follow_ns) {
        h->l->follow_ns = late;
        h->l->follow_line = line;
    }
}

static enum err on_drive(struct ear *h, enum line line, enum level before, enum level level)
{
    if (level == LEVEL_LOW && before == LEVEL_HIGH && drive_output(line))
        on_output(h, line);
    if (line == LINE_READY && level == LEVEL_LOW && h->running != NULL &&
        h->running->ready_ns < 0)
        h->running->ready_ns = h->now_ns;
    if (line == LINE_INDEX && level == LEVEL_HIGH && before == LEVEL_LOW)
        index_rose(h);
    if (line != LINE_INDEX || level != LEVEL_LOW || before != LEVEL_HIGH)
        return ERR_OK;
    if (h->running != NULL && h->running->falls < START_FALLS)
        h->running->fall_ns[h->running->falls++] = h->now_ns;
    return on_index(h);
}

/* Time of a level that an unselected drive should not give. */
static void book_unselected(struct ear *h, enum line line)
{
    int64_t from = h->since_ns[line] > h->select_ns + DESELECT_NS ? h->since_ns[line]
                                                                  : h->select_ns + DESELECT_NS;
    if (h->select_known && h->selects != 0 && !h->selected && drive_output(line) &&
        h->level[line] == LEVEL_LOW && h->now_ns - from >= UNSELECTED_NS)
        h->l->unselected |= LINE_BIT(line);
}

static void book_all(struct ear *h)
{
    for (int i = 0; i < LINE_COUNT; i++) {
        book_unselected(h, (enum line)i);
        h->since_ns[i] = h->now_ns;
    }
}

static enum err edge(struct ear *h, enum line line, enum level level)
{
    enum level before = h->level[line];
    if (line_is_select(line) || drive_output(line))
        book_all(h);
    h->level[line] = level;
    h->since_ns[line] = h->now_ns;
    if (line_is_select(line)) {
        on_select(h);
    } else if (line_is_motor(line)) {
        if (before == LEVEL_UNKNOWN && level == LEVEL_HIGH)
            h->motor_off_ns = h->now_ns;
        h->motor = h->motor || level == LEVEL_LOW;
        return before == LEVEL_UNKNOWN ? ERR_OK : on_motor(h, level);
    } else if (line == LINE_HLOAD) {
        if (before == LEVEL_HIGH && level == LEVEL_LOW)
            h->load_ns = h->now_ns;
    } else if (line == LINE_STEP) {
        if (before != LEVEL_UNKNOWN && level == (h->leading ? LEVEL_LOW : LEVEL_HIGH))
            return on_step(h);
    } else if (!line_from_machine(line)) {
        return on_drive(h, line, before, level);
    }
    return ERR_OK;
}

static void rails_until(struct ear *h, const struct chunk *c, size_t *next, int64_t tick)
{
    for (; *next < c->rail_count && c->rail[*next].tick <= tick; ++*next) {
        const struct rail_sample *x = &c->rail[*next];
        int64_t ns = 0;
        double volt = x->millivolt / 1000.0;
        if (!ticks_to_ns(x->tick, h->tick, &ns) || h->load_ns < 0 || ns < h->load_ns ||
            ns - h->load_ns > LOADS_NS || x->rail >= RAIL_COUNT)
            continue;
        double *low = &h->l->head_load_v[x->rail];
        *low = *low > 0 ? fmin(*low, volt) : volt;
    }
}

static enum err chunk_edges(struct ear *h, const struct chunk *c)
{
    size_t rail = 0;
    for (size_t i = 0; i < c->count; i++) {
        enum line line = edge_line(c->edge[i]);
        if (line == LINE_RDATA)
            continue;
        rails_until(h, c, &rail, edge_tick(c, i));
        if (!ticks_to_ns(edge_tick(c, i), h->tick, &h->now_ns))
            return ERR_FORMAT;
        TRY(edge(h, line, edge_level(c->edge[i])));
    }
    rails_until(h, c, &rail, INT64_MAX);
    return ERR_OK;
}

enum err listen_run(struct capture *c, const struct profile *drive, volatile const int *stop,
                    struct listen *out, struct err_msg *e)
{
    struct chunk chunk = {0};
    struct ear h = {.l = out, .tick = capture_info(c)->tick, .motor_off_ns = -1, .load_ns = -1};
    enum err err = ERR_OK;
    *out = (struct listen){
        .follow_line = LINE_NONE, .track0_last = LEVEL_UNKNOWN, .turn_to_turn_percent = -1};
    turns_break(&h);
    for (int i = 0; i < LINE_COUNT; i++)
        h.level[i] = LEVEL_UNKNOWN;
    double slowest_rpm = profile_number(drive, "speed_low_rpm", 0);
    if (slowest_rpm <= 0)
        slowest_rpm = profile_number(drive, "speed_rpm", 300);
    h.longest_ns = (int64_t)(TURN_LONGEST * 60e9 / slowest_rpm);
    h.valid_ns = (int64_t)(1e6 * profile_max(drive, "trk00_valid_ms", 2.8));
    h.step_ns = -h.valid_ns;
    h.leading = profile_has_word(drive, "step_edge", "leading");
    h.selects = capture_info(c)->lines & SELECTS;
    h.selected = h.select_known = h.selects == 0; /* none recorded: taken for selected */
    while (err == ERR_OK && !chunk.last) {
        if (stop != NULL && *stop != 0)
            err = err_set(e, ERR_INTERRUPTED, "interrupted");
        if (err == ERR_OK)
            err = capture_next(c, &chunk, e);
        if (err == ERR_OK)
            err = chunk_edges(&h, &chunk);
    }
    if (err == ERR_OK && ticks_to_ns(chunk.end_tick, h.tick, &h.now_ns)) {
        book_all(&h);
        select_ends(&h);
        out->track0_last = track0_now(&h);
    }
    if (err != ERR_OK)
        listen_release(out);
    return err;
}

void listen_release(struct listen *l)
{
    free(l->step);
    free(l->start);
    free(l->turn_ns);
    *l = (struct listen){0};
}

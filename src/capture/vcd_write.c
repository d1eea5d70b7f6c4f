#include "capture/writer.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

struct vcd_writer {
    struct output *out; /* borrowed */
    struct capture_info info;
    int64_t unit_fs;
    bool begun;                /* the values at time 0 are written */
    int64_t mark;              /* last time mark */
    uint8_t level[LINE_COUNT]; /* at time 0 */
    bool rail_known[RAIL_COUNT];
    int32_t millivolt[RAIL_COUNT];
};

/* One character for each line and rail. '#' and '$' and letters that begin other words are
 * legal, but trip weak readers [standards handbook, VCW-3]; digits are left out for the eye's
 * sake. */
static const char CODES[] = "!\"%&'()*+,-./:;<=>?@ACDEFGHIJKLM";
_Static_assert(sizeof CODES - 1 >= LINE_COUNT + RAIL_COUNT, "a code for every line and rail");

static char line_code(enum line line)
{
    return CODES[line];
}

static char rail_code(enum rail rail)
{
    return CODES[LINE_COUNT + (size_t)rail];
}

static const struct {
    const char *name;
    int64_t fs;
} UNITS[] = {{"s", FS_PER_S},
             {"ms", FS_PER_S / 1000},
             {"us", FS_PER_S / 1000000},
             {"ns", FS_PER_NS},
             {"ps", 1000},
             {"fs", 1}};

/* The longest of 1, 10 or 100 units that holds the tick without a rest; where none does, one of
 * at most a thousandth of it, so that rounding costs nothing that could be measured. */
static int64_t choose_unit(struct tick tick, char *text, size_t room)
{
    bool exact = tick.fs_den == 1;
    for (size_t i = 0; i < sizeof UNITS / sizeof UNITS[0]; i++) {
        for (int number = 100; number > 0; number /= 10) {
            int64_t fs = UNITS[i].fs * number;
            if (exact ? tick.fs_num % fs != 0 : fs > tick.fs_num / tick.fs_den / 1000)
                continue;
            snprintf(text, room, "%d %s", number, UNITS[i].name);
            return fs;
        }
    }
    snprintf(text, room, "1 fs");
    return 1;
}

/* A comment for people, without anything that could end it. */
static enum err put_comment(struct vcd_writer *v, struct err_msg *e)
{
    char text[sizeof v->info.detail + 64];
    snprintf(text, sizeof text, "%s%s%s%s%s", v->info.role, v->info.role[0] != '\0' ? " " : "",
             v->info.tap, v->info.tap[0] != '\0' ? " " : "", v->info.detail);
    for (char *p = text; *p != '\0'; p++)
        if (*p == '$' || (unsigned char)*p < ' ')
            *p = '.';
    return text[0] != '\0' ? output_printf(v->out, e, "$comment %s $end\n", text) : ERR_OK;
}

static enum err put_header(struct vcd_writer *v, struct err_msg *e)
{
    char unit[16];
    v->unit_fs = choose_unit(v->info.tick, unit, sizeof unit);
    TRY(output_printf(v->out, e, "$version whichend $end\n"));
    TRY(put_comment(v, e));
    TRY(output_printf(v->out, e, "$timescale %s $end\n$scope module bus $end\n", unit));
    for (size_t i = 0; i < LINE_COUNT; i++)
        if (v->info.lines & LINE_BIT(i))
            TRY(output_printf(v->out, e, "$var wire 1 %c %s $end\n", line_code((enum line)i),
                              line_name((enum line)i)));
    for (size_t i = 0; i < RAIL_COUNT; i++)
        if (v->info.rails & 1u << i)
            TRY(output_printf(v->out, e, "$var real 64 %c %s $end\n", rail_code((enum rail)i),
                              rail_name((enum rail)i)));
    return output_printf(v->out, e, "$upscope $end\n$enddefinitions $end\n");
}

static void vcd_write_close(void *state)
{
    free(state);
}

static enum err vcd_write_open(struct output *out, const struct capture_info *info,
                               void **state, struct err_msg *e)
{
    struct vcd_writer *v = calloc(1, sizeof *v);
    if (v == NULL)
        return err_set(e, ERR_MEMORY, "%s: out of memory", out->name);
    v->out = out;
    v->info = *info;
    memset(v->level, LEVEL_UNKNOWN, sizeof v->level);
    enum err err = put_header(v, e);
    if (err != ERR_OK) {
        vcd_write_close(v);
        return err;
    }
    *state = v;
    return ERR_OK;
}

static enum err put_level(struct vcd_writer *v, enum line line, enum level level,
                          struct err_msg *e)
{
    const char text[3] = {"01x"[level], line_code(line), '\n'};
    return output_add(v->out, text, sizeof text, e);
}

static enum err put_voltage(struct vcd_writer *v, enum rail rail, int32_t millivolt,
                            struct err_msg *e)
{
    int64_t size = millivolt < 0 ? -(int64_t)millivolt : millivolt;
    return output_printf(v->out, e, "r%s%" PRId64 ".%03" PRId64 " %c\n",
                         millivolt < 0 ? "-" : "", size / 1000, size % 1000, rail_code(rail));
}

/* The values at time 0. A rail not known then is left out: a number would be made up. */
static enum err begin(struct vcd_writer *v, struct err_msg *e)
{
    v->begun = true;
    TRY(output_printf(v->out, e, "#0\n$dumpvars\n"));
    for (size_t i = 0; i < LINE_COUNT; i++)
        if (v->info.lines & LINE_BIT(i))
            TRY(put_level(v, (enum line)i, (enum level)v->level[i], e));
    for (size_t i = 0; i < RAIL_COUNT; i++)
        if (v->rail_known[i])
            TRY(put_voltage(v, (enum rail)i, v->millivolt[i], e));
    return output_printf(v->out, e, "$end\n");
}

/* A time mark where time has gone on. */
static enum err put_mark(struct vcd_writer *v, int64_t tick, struct err_msg *e)
{
    int64_t stamp;
    if (!ticks_to_units(tick, v->info.tick, v->unit_fs, &stamp))
        return err_set(e, ERR_FORMAT,
                       "%s: the capture is too long for the time stamps of a VCD",
                       v->out->name);
    if (stamp == v->mark)
        return ERR_OK;
    if (!v->begun)
        TRY(begin(v, e));
    v->mark = stamp;
    char text[24];
    char *p = text + sizeof text;
    *--p = '\n';
    for (uint64_t rest = (uint64_t)stamp; rest > 0; rest /= 10)
        *--p = (char)('0' + rest % 10);
    *--p = '#';
    return output_add(v->out, p, (size_t)(text + sizeof text - p), e);
}

static enum err vcd_write_edge(void *state, int64_t tick, enum line line, enum level level,
                               struct err_msg *e)
{
    struct vcd_writer *v = state;
    TRY(put_mark(v, tick, e));
    if (!v->begun && v->level[line] == LEVEL_UNKNOWN) {
        v->level[line] = (uint8_t)level;
        return ERR_OK;
    }
    if (!v->begun)
        TRY(begin(v, e)); /* a second level at time 0 */
    return put_level(v, line, level, e);
}

static enum err vcd_write_rail(void *state, int64_t tick, enum rail rail, int32_t millivolt,
                               struct err_msg *e)
{
    struct vcd_writer *v = state;
    TRY(put_mark(v, tick, e));
    if (!v->begun && !v->rail_known[rail]) {
        v->rail_known[rail] = true;
        v->millivolt[rail] = millivolt;
        return ERR_OK;
    }
    if (!v->begun)
        TRY(begin(v, e));
    return put_voltage(v, rail, millivolt, e);
}

static enum err vcd_write_finish(void *state, int64_t end_tick, struct err_msg *e)
{
    struct vcd_writer *v = state;
    TRY(put_mark(v, end_tick, e));
    return v->begun ? ERR_OK : begin(v, e);
}

const struct format_writer VCD_WRITER = {vcd_write_open, vcd_write_edge,   vcd_write_rail,
                                         NULL,           vcd_write_finish, vcd_write_close};

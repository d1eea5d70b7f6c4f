/* Between writer.c and the writers of each format. */
#ifndef WHICHEND_CAPTURE_WRITER_H
#define WHICHEND_CAPTURE_WRITER_H

#include "capture/capture.h"
#include "capture/output.h"

/* One format. Edges and samples come in order of time, levels and voltages that tell nothing
 * new left out. */
struct format_writer {
    enum err (*open)(struct output *out, const struct capture_info *info, void **state,
                     struct err_msg *e);
    enum err (*edge)(void *state, int64_t tick, enum line line, enum level level,
                     struct err_msg *e);
    enum err (*rail)(void *state, int64_t tick, enum rail rail, int32_t millivolt,
                     struct err_msg *e);
    /* What came so far can be read; NULL where the format cannot. */
    enum err (*flush)(void *state, struct err_msg *e);
    enum err (*finish)(void *state, int64_t end_tick, struct err_msg *e);
    void (*close)(void *state); /* NULL allowed */
};

extern const struct format_writer VCD_WRITER;
extern const struct format_writer CSV_WRITER;
extern const struct format_writer WEC_WRITER;

/* Position in ticks to units of `unit_fs`, rounded to nearest; false where it does not fit. */
bool ticks_to_units(int64_t tick, struct tick t, int64_t unit_fs, int64_t *out);

#endif

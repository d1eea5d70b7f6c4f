#include "capture/vcd.h"

#include <stdlib.h>

static void vcd_close(void *state)
{
    struct vcd *v = state;
    if (v == NULL)
        return;
    vcd_codes_release(&v->codes);
    free(v);
}

static enum err vcd_open(struct window *w, const struct line_map *map,
                         struct capture_info *info, void **state, struct err_msg *e)
{
    struct vcd *v = calloc(1, sizeof *v);
    if (v == NULL)
        return err_set(e, ERR_MEMORY, "%s: out of memory", source_name(w->src));
    v->w = w;
    window_set_unit(w, WINDOW_WORDS);
    enum err err = vcd_read_header(v, map, info, e);
    if (err != ERR_OK) {
        vcd_close(v);
        return err;
    }
    *state = v;
    return ERR_OK;
}

static enum err vcd_fill(void *state, struct build *b, struct err_msg *e)
{
    return vcd_scan(state, b, e);
}

const struct reader VCD_READER = {vcd_open, vcd_fill, vcd_close};

/* Reading VCD (IEEE 1364-2005 clause 18): what the header reader and the scanner of values
 * share. */
#ifndef WHICHEND_CAPTURE_VCD_H
#define WHICHEND_CAPTURE_VCD_H

#include "capture/names.h"
#include "capture/reader.h"
#include "capture/vcd_codes.h"

/* What a short code stands for, where one look at a table is enough. */
enum {
    VCD_LOOK_UP = 0, /* undeclared, or not so simple: ask vcd_codes */
    VCD_IGNORE = 1,
    VCD_LINE = 64,           /* + line: as it stands */
    VCD_LINE_INVERTED = 192, /* + line: 1 is active */
};

struct vcd {
    struct window *w; /* borrowed */
    struct vcd_codes codes;
    struct name_targets targets;
    bool in_comment; /* up to the next $end */
    bool cut_word; /* the word at hand may have been cut by the end of the file: nothing is held
                      against it */
    bool off;      /* between $dumpoff and $dumpon nothing is recorded */
    uint8_t by1[256];
    uint8_t by2[128 * 128]; /* first character * 128 + second */
};

/* ERR_FORMAT with file and line of the byte at p. */
enum err vcd_error(struct vcd *v, const uint8_t *p, struct err_msg *e, const char *fmt, ...)
    PRINTF_LIKE(4, 5);

/* Everything up to $enddefinitions $end. */
enum err vcd_read_header(struct vcd *v, const struct line_map *map, struct capture_info *info,
                         struct err_msg *e);

/* Value changes up to a full chunk or the end of the input. */
enum err vcd_scan(struct vcd *v, struct build *b, struct err_msg *e);

#endif

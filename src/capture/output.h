/* Bytes on their way into a file that appears whole or not at all, through gzip where its name
 * ends in ".gz". */
#ifndef WHICHEND_CAPTURE_OUTPUT_H
#define WHICHEND_CAPTURE_OUTPUT_H

#include "base/file.h"

#include <stdint.h>

#include <zlib.h>

struct output {
    struct out_file file;
    char *name;
    char *text; /* waits for a block to be full */
    size_t len;
    bool gzip;
    bool deflating;
    z_stream z;
    uint8_t *packed;
};

/* gzip: with no time and no name in its header, so that the bytes depend on the contents alone.
 */
enum err output_open(struct output *o, const char *path, bool gzip, bool replace,
                     struct err_msg *e);
enum err output_add(struct output *o, const void *bytes, size_t len, struct err_msg *e);
enum err output_printf(struct output *o, struct err_msg *e, const char *fmt, ...)
    PRINTF_LIKE(3, 4);
/* Everything added so far is in the file (not for gzip); `appear`: under its own name, where it
 * stays whatever comes (out_file_appear). */
enum err output_flush(struct output *o, bool appear, struct err_msg *e);
/* Make the file appear. */
enum err output_commit(struct output *o, struct err_msg *e);
/* Free; the file is thrown away unless it was committed. */
void output_close(struct output *o);

#endif

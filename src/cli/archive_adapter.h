/* archive over the adapter: once through the disk, then again what was not good. */
#ifndef WHICHEND_CLI_ARCHIVE_ADAPTER_H
#define WHICHEND_CLI_ARCHIVE_ADAPTER_H

#include "cli/archive_folder.h"

/* Fills the folder's archive, track by track kept in its journal. ERR_INTERRUPTED, ERR_ADAPTER,
 * ERR_IO: what was read stands. *out_begun: something may be there to be written out. */
enum err archive_over_adapter(const struct args *a, struct archive_folder *f, bool *out_begun,
                              struct err_msg *e);

#endif

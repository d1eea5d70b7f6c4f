#include "cli/cli.h"

enum err verb_version(const struct args *a, struct buf *out, int *status, struct err_msg *e)
{
    (void)a;
    (void)status;
    (void)e;
    return buf_str(out, "whichend " WHICHEND_VERSION "\n");
}

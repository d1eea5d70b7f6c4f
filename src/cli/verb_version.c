#include "cli/cli.h"

enum err verb_version(const struct args *a, struct answer *r, struct err_msg *e)
{
    (void)a;
    (void)e;
    return buf_str(&r->out, "whichend " WHICHEND_VERSION "\n");
}

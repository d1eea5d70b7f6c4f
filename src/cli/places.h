/* Which cylinders and sides of a drive a call means. */
#ifndef WHICHEND_CLI_PLACES_H
#define WHICHEND_CLI_PLACES_H

#include "cli/adapter_use.h"

struct places {
    int first, last; /* cylinders; last -1: the drive's last */
    bool side[2];
};

/* --cylinders and --sides; all where they are not given. ERR_USAGE. */
enum err places_of(const struct args *a, struct places *out, struct err_msg *e);
/* Held against the drive's profile; last is known then. ERR_USAGE. */
enum err places_check(struct places *p, const struct adapter_use *u, struct err_msg *e);

#endif

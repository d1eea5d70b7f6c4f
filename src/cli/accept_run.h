/* accept over the adapter; for verb_accept.c. */
#ifndef WHICHEND_CLI_ACCEPT_RUN_H
#define WHICHEND_CLI_ACCEPT_RUN_H

#include "accept/accept.h"
#include "cli/cli.h"

/* --written-by and what else is told. */
enum err accept_facts_of(const struct args *a, struct accept_facts *out, struct err_msg *e);
/* The whole run, and its sheet. */
enum err accept_over_adapter(const struct args *a, struct accept_sheet *s, struct err_msg *e);

#endif

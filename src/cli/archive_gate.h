/* Before a valued disk goes into a drive: what a person must have looked at, and what the
 * adapter can see by itself (bench practice: archiving in an uncleared drive kills
 * collections).
 */
#ifndef WHICHEND_CLI_ARCHIVE_GATE_H
#define WHICHEND_CLI_ARCHIVE_GATE_H

#include "cli/archive_bus.h"

/* What was said and seen, as disk.json keeps it. */
struct archive_gate {
    bool affirmed[4]; /* by archive_gate_words */
    bool scratch;     /* the program itself read a scratch disk twice alike */
    enum level wprot; /* with the valued disk in */
    const char *risk; /* NULL: nothing was gone on without */
};

/* --affirm and --accept-risk. ERR_USAGE where something lacks and nobody can be asked: says
 * what. Before anything is opened. */
enum err archive_gate_told(const struct args *a, struct archive_gate *g, struct err_msg *e);
/* At a terminal: ask for what was not affirmed, read a scratch disk twice. The bus listens, no
 * disk is in; afterwards the valued disk is. */
enum err archive_gate_ask(struct archive_gate *g, struct archive_bus *b, struct err_msg *e);
/* The valued disk is in and the drive selected: it must read protected. ERR_USAGE. */
enum err archive_gate_protected(struct archive_gate *g, const struct archive_bus *b,
                                struct err_msg *e);
/* Into the record. */
void archive_gate_note(const struct archive_gate *g, struct archive_pass *pass);

#endif

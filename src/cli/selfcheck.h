/* selfcheck: what was found, in words that name lines and pins, for text and JSON alike. */
#ifndef WHICHEND_CLI_SELFCHECK_H
#define WHICHEND_CLI_SELFCHECK_H

#include "adapter/cable_read.h"
#include "adapter/loop_check.h"
#include "cli/adapter_use.h"

#define CHECK_ITEMS_MAX 160
#define CHECK_TEXT_MAX  240

/* One fault, or one thing that could not be told. */
struct check_item {
    char fault[64]; /* end.part.mode */
    enum line line; /* LINE_NONE: of the whole */
    int pin, far;   /* of the machine's and the drive's plug; 0: none */
    char text[CHECK_TEXT_MAX];
    const char *why;  /* what was seen */
    const char *next; /* what to do */
    bool at_times, untested;
    uint32_t seen, of; /* at times: looks */
};

struct check_conductor {
    enum line line;
    int pin, far; /* loop: 0 */
    const char *state;
};

struct check_supply {
    enum rail rail;
    double volts, min, max;
    const char *state; /* "good", "out of limits", "not there" */
};

struct selfcheck {
    enum wire_role role;
    const char *cable; /* NULL in role loop */
    bool write_link;   /* closed */
    uint32_t passes;
    unsigned looked_at; /* pins, or lines */
    struct check_item item[CHECK_ITEMS_MAX];
    size_t items;
    struct check_conductor conductor[CABLE_PINS_MAX];
    size_t conductors;
    struct check_supply supply[WIRE_RAILS];
    size_t supplies;
    struct buf not_tested; /* one a line */
};

/* What is known of the cable from its profile. */
void selfcheck_plan(const struct adapter_use *u, struct cable_plan *out);
enum err selfcheck_of_cable(const struct adapter_use *u, const struct cable_plan *plan,
                            const struct cable_seen *seen, struct selfcheck *out);
enum err selfcheck_of_loop(const struct loop_seen *seen, struct selfcheck *out);
/* The supply rails that the adapter meters, against the drive's profile. */
enum err selfcheck_supply(const struct adapter_use *u, const struct adapter_status *st,
                          struct selfcheck *out);
void selfcheck_release(struct selfcheck *c);

/* An item more; what does not fit is dropped. */
struct check_item *selfcheck_add(struct selfcheck *c, enum line line);

size_t selfcheck_faults(const struct selfcheck *c);
/* 0, EXIT_FAULT or EXIT_UNDECIDED. */
int selfcheck_status(const struct selfcheck *c);
/* One sentence. */
enum err selfcheck_answer(const struct selfcheck *c, struct buf *out);
enum err selfcheck_text(const struct selfcheck *c, const struct text_style *s, struct buf *out);
enum err selfcheck_json(const struct selfcheck *c, const char *adapter, struct buf *out);

#endif

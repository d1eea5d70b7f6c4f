/* The adapter's own outputs, inputs and leads, with the loop plug (loop.h) on them: each output
 * in turn pulls its line low, and the lines that follow say what is sound.
 *
 * The walk may be repeated while somebody moves the leads. */
#ifndef WHICHEND_ADAPTER_LOOP_CHECK_H
#define WHICHEND_ADAPTER_LOOP_CHECK_H

#include "adapter/session.h"

struct loop_seen {
    uint32_t lines;  /* in the loop plug */
    uint32_t driven; /* of them, those whose output was tried */
    uint32_t passes;
    uint32_t idle[WIRE_LINES];            /* low while nothing was pulled */
    uint32_t low[WIRE_LINES][WIRE_LINES]; /* [pulled][follows] */
};

enum loop_fault_kind {
    LOOP_HELD,        /* one of `lines` is pulled all the time: output stuck, lead on ground */
    LOOP_INPUT_STUCK, /* reads active although its fellows do not */
    LOOP_INPUT_DEAD,  /* never reads active */
    LOOP_OUTPUT_DEAD, /* pulls nothing */
    LOOP_LINE_DEAD,   /* neither pulls nor reads: both dead, or no such driver */
    LOOP_LEAD_OPEN,   /* pulls itself and nobody else */
    LOOP_NOT_HEARD,   /* never follows, and its own output could not be tried */
    LOOP_LEADS_SWAPPED,
    LOOP_LEAD_MISPLACED, /* hangs together with another three */
    LOOP_LEADS_TOUCH,    /* one of `lines` touches one of `others` */
};

struct loop_fault {
    enum loop_fault_kind kind;
    uint32_t lines, others;
    bool at_times;
};

struct loop_reading {
    struct loop_fault fault[WIRE_LINES];
    size_t faults;
};

/* Once over all lines of the plug, in role loop. WGATE's output is tried only where its link is
 * closed. Adds to *seen. */
enum err loop_walk(struct session *s, struct loop_seen *seen, struct err_msg *e);
void loop_read(const struct loop_seen *seen, struct loop_reading *out);

/* Lines of the same three as this one, itself among them. */
uint32_t loop_fellows(uint32_t lines, unsigned line);

#endif

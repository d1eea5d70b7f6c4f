/* The way over the disk: once through without retries, then again, each time otherwise. */
#ifndef WHICHEND_CLI_ARCHIVE_PLAN_H
#define WHICHEND_CLI_ARCHIVE_PLAN_H

#include "cli/archive_bus.h"
#include "cli/archive_folder.h"
#include "cli/places.h"

/* A track of this disk that is read again and again: it reads worse once the heads foul. */
struct archive_reference {
    bool known;
    int cylinder, side;
    struct archive_seen first; /* its first reading */
    int since;                 /* cylinders, or tracks read again, since it was looked at */
};

struct archive_plan {
    struct archive_folder *folder;
    struct archive_bus bus;
    struct places places;
    int turns;
    int32_t pass;
    bool overwrite;
    char name[24]; /* of the recording in the folder */
    char *path;
    struct archive_reference reference;
    int named_right; /* tracks whose identifiers named the head's cylinder */
    bool stopped;    /* the reference read worse: nothing more is read */
};

/* Every track that was not read yet. */
enum err archive_plan_once(struct archive_plan *p, struct err_msg *e);
/* Tracks with sectors that are not sure, in other ways. */
enum err archive_plan_again(struct archive_plan *p, struct err_msg *e);
void archive_plan_release(struct archive_plan *p);

#endif

/* Between the files that fill a sheet. */
#ifndef WHICHEND_ACCEPT_PRIVATE_H
#define WHICHEND_ACCEPT_PRIVATE_H

#include "accept/accept.h"
#include "accept/listen.h"
#include "accept/settle.h"
#include "evidence/survey.h"

/* One place of the head that was looked at after seeks, against where they should have led. */
struct move {
    bool by_track0; /* TRK00 said it, else identifiers */
    int32_t from, expected, got;
    int32_t seeks;      /* since the look before */
    int8_t direction;   /* of the last step */
    double interval_ms; /* shortest STEP to STEP in them; 0: single steps only */
};
struct moves {
    struct move *move;
    size_t count, cap;
};

/* Everything read from the captures. */
struct evidence {
    const struct accept_options *o;
    const struct profile *drive;
    struct survey *survey[ACCEPT_CAPTURES_MAX];
    struct listen listen[ACCEPT_CAPTURES_MAX];
    size_t captures;
    struct survey *elsewhere;              /* NULL: none */
    bool own_writing[ACCEPT_CAPTURES_MAX]; /* of the test tracks: no reading of the disk */
    struct moves moves;                    /* of all captures, in order */
    struct settle settle;
    struct accept_sheet *sheet;
};

/* lines_write.c: is this the capture of such a block of the plan? */
bool accept_own_writing(const struct survey *s); /* any block about writing */
bool capture_is_block(const struct survey *s, const char *block);

/* moves.c: what must be known of the drive to follow its head. */
struct travel {
    bool track0_tells; /* TRK00 is sound, and says where the head is */
    int32_t stroke;    /* steps outward that must lead to it from anywhere */
    int64_t seek_ns;   /* steps further apart belong to two seeks */
};
enum err moves_add(struct moves *m, const struct survey *s, const struct listen *l,
                   const struct travel *t);
void moves_release(struct moves *m);

/* lines.c: what a line says */
struct accept_line *line_of(struct evidence *v, enum accept_item i);
/* Not measured, why; it is missed in the sheet. */
void line_not_measured(struct evidence *v, enum accept_item i, const char *fmt, ...)
    PRINTF_LIKE(3, 4);
/* The same; nobody misses it. */
void line_not_asked(struct evidence *v, enum accept_item i, const char *fmt, ...)
    PRINTF_LIKE(3, 4);
void line_absent(struct evidence *v, enum accept_item i);
void line_fail(struct evidence *v, enum accept_item i, const char *fmt, ...) PRINTF_LIKE(3, 4);
void line_text(struct evidence *v, enum accept_item i, const char *fmt, ...) PRINTF_LIKE(3, 4);
/* A value held against nothing, until line_limit. */
void line_value(struct evidence *v, enum accept_item i, double value, double uncertainty);
/* Hold it against that key of the drive's profile, in its unit; a reading where the profile has
 * none. */
void line_limit(struct evidence *v, enum accept_item i, const char *key);
/* At most what that key gives: its max, else its typ, else its min (a time that the maker asks
 * others to wait). */
void line_upto(struct evidence *v, enum accept_item i, const char *key);
/* Hold it against most, for a reason that is no fact of one drive. */
void line_at_most(struct evidence *v, enum accept_item i, double most, const char *source);
bool line_failed(const struct evidence *v, enum accept_item i);

/* Does TRK00 go on and off as a sound one does? lines_motion.c */
bool track0_tells(const struct evidence *v);
/* Some output was active while the drive was selected. lines_motion.c */
bool answers(const struct evidence *v);

/* What the lines of a subject say, one function a file. Earlier ones first: later ones look at
 * what failed. */
void accept_lines_rotation(struct evidence *v);
void accept_lines_motion(struct evidence *v);
/* Steps or settling are at fault: a drive that holds the index back meanwhile shows other
 * pulses than expected. */
void accept_index_behind_seeks(struct evidence *v);
void accept_lines_read(struct evidence *v);
void accept_lines_bench(struct evidence *v);
void accept_lines_write(struct evidence *v);

#endif

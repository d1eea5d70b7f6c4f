/* Private to src/evidence: making features. */
#ifndef WHICHEND_EVIDENCE_FEATURE_MAKE_H
#define WHICHEND_EVIDENCE_FEATURE_MAKE_H

#include "evidence/feature.h"

/* Where a feature of a capture comes from. */
struct feature_from {
    const struct case_file *c;
    const struct case_capture *cap;
    const struct survey *s;
    const struct wiring *w;
    const enum line *name; /* of each signal at this tap */
    size_t capture;
    int run;
    bool at_drive;
};

/* Add a feature with one certain answer; *out points at it until the next add (for value,
 * limit, source). id is permanent; the text follows. */
enum err feature_add(struct feature_list *l, const struct feature_from *f,
                     enum feature_kind kind, enum group g, enum sig sig, int answer,
                     struct feature **out, const char *id, const char *fmt, ...)
    PRINTF_LIKE(9, 10);

/* Spread a measured value over answers: probability that a normal variable of that mean and sd
 * lies in each of the bins cut at edges[0..n-2]. */
void feature_soften(struct feature *f, double value, double sd, const double *edges, int bins);

/* Fill the finding's value. */
void feature_value(struct feature *f, double value, double uncertainty, const char *unit);
void feature_limit(struct feature *f, const struct limit *limit);

/* Groups of files. */
enum err features_lines(const struct feature_from *f, struct feature_list *l);
enum err features_motion(const struct feature_from *f, struct feature_list *l);
enum err features_flux(const struct feature_from *f, struct feature_list *l);
enum err features_write(const struct feature_from *f, struct feature_list *l);
enum err features_machine(const struct feature_from *f, struct feature_list *l);

/* true when this tap records the signal */
bool feature_recorded(const struct feature_from *f, enum sig s);
const struct line_stats *feature_stats(const struct feature_from *f, enum sig s);

#endif

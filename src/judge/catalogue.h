/* Private to src/judge: the fault catalogue, profiles/faults, as it applies to one case. */
#ifndef WHICHEND_JUDGE_CATALOGUE_H
#define WHICHEND_JUDGE_CATALOGUE_H

#include "judge/judge.h"
#include "judge/model.h"

struct fault {
    char name[FAULT_NAME_MAX];
    enum end end;
    enum line line; /* LINE_NONE where none is meant; at the machine's plug */
    char text[160];
    char next[160];     /* "" if none */
    char caution[200];  /* "" if none */
    double share;       /* within its end; sums to 1 */
    const char *effect; /* into the catalogue's text */
    enum sig sig, sig2; /* SIG_COUNT where none is meant */
    enum tap tap;       /* of a test lead */
    struct traits traits;
};

struct catalogue {
    struct fault *fault;
    size_t count, cap;
    double end_share[END_COUNT]; /* of complaints; drive..setup and none */
    double two, unlisted;        /* shares of the whole */
    struct ini_file *file;       /* owns the effects */
    size_t file_count;
};

/* Faults that can be, given the wiring, the profiles and the taps of the case: lines that are
 * not carried and leads of taps that were not used are left out. ERR_FORMAT "path:line:
 * reason". */
enum err catalogue_load(const struct case_file *c, const struct wiring *w,
                        const struct profile_path *path, struct catalogue *out,
                        struct err_msg *e);
void catalogue_release(struct catalogue *c);

#endif

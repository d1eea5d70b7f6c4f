/* What the files that read a case share. */
#ifndef WHICHEND_EVIDENCE_CASE_PRIVATE_H
#define WHICHEND_EVIDENCE_CASE_PRIVATE_H

#include "evidence/case_file.h"

#define RATIO_MAX      1000000
#define NEAR_MAX       3 /* letters by which a word may be off and still be suggested */
#define NEAR_BYTES_MAX 63

enum section_name { NAME_NONE, NAME_MAYBE, NAME_NEEDED };
struct case_section {
    const char *word;
    enum section_name name; /* does a name follow in the brackets? */
};

/* NULL where there is none. */
const struct case_section *case_section_find(const char *word);
/* The known word closest to a wrong one; NULL where none is close. */
const char *case_nearest_key(const char *section, const char *key);
const char *case_nearest_section(const char *word);
/* Make `known` the best so far if it is closer to word than *distance. */
void near_word(const char *word, const char *known, const char **best, size_t *distance);

bool case_number(const char *s, double *out);
bool case_ratio(const char *s, int *out_part, int *out_whole);

/* Words of values that fit. */
enum outcome case_outcome_by_word(const char *w);
enum disk_state case_disk_by_word(const char *w);
enum role case_role_by_word(const char *w);
unsigned case_asked_by_list(const char *list);
int case_whole_number(const char *s);

#endif

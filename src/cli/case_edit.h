/* A case.ini while it is edited: read, changed line by line, checked, written whole. */
#ifndef WHICHEND_CLI_CASE_EDIT_H
#define WHICHEND_CLI_CASE_EDIT_H

#include "cli/cli.h"
#include "evidence/case_file.h"

struct case_edit {
    struct buf folder, file, text;
    struct profile_path *profiles;
};

/* edit_release is due also after a failure. */
enum err edit_begin(struct case_edit *x, const struct args *a, const char *path,
                    struct err_msg *e);
enum err edit_set(struct case_edit *x, const char *section, const char *key, const char *value,
                  struct err_msg *e);
/* Read the text as the case that it would be; release *out. */
enum err edit_check(const struct case_edit *x, struct case_file *out, struct err_msg *e);
enum err edit_write(const struct case_edit *x, bool replace, struct err_msg *e);
void edit_release(struct case_edit *x);

#endif

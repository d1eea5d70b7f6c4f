/* archive: a disk's sectors saved, with a record of what is sound. */
#include "archive/capture.h"
#include "base/file.h"
#include "cli/archive_folder.h"
#include "cli/cli.h"

#include <stdlib.h>
#include <string.h>

static enum err take_capture(const struct args *a, const char *name,
                             const struct profile *drive, struct archive_folder *f,
                             struct err_msg *e)
{
    struct survey_options o = {.drive = drive, .stop = &stop_asked, .progress = progress_share};
    struct archive_pass pass = archive_pass_named(name, "capture");
    struct line_map map = {0};
    struct progress p;
    struct capture *c = NULL;
    if (archive_folder_own(f, name))
        return archive_warn(&f->archive, "%s: this archive made it and holds it already", name);
    enum err code = args_line_map(a, &map, e);
    if (code == ERR_OK)
        code = capture_open(name, &map, &c, e);
    line_map_release(&map);
    if (code != ERR_OK)
        return code;
    (void)snprintf(pass.detail, sizeof pass.detail, "%s", capture_info(c)->detail);
    progress_begin(&p, a, "reading");
    o.progress_ctx = &p;
    code = archive_capture(&f->archive, c, &o, &pass, e);
    progress_end(&p);
    capture_close(c);
    return code;
}

static enum err take_captures(const struct args *a, struct archive_folder *f, struct err_msg *e)
{
    const char *name = args_value(a, OPT_DRIVE_PROFILE);
    struct profile_path *path = NULL;
    struct profile *drive = NULL;
    enum err code = ERR_OK;
    if (name != NULL) {
        code = args_profiles(a, &path, e);
        code = code == ERR_OK ? profile_load(path, PROFILE_DRIVE, name, &drive, e) : code;
    }
    for (size_t i = 0; code == ERR_OK && i < a->words; i++)
        code = take_capture(a, a->word[i], drive, f, e);
    profile_free(drive);
    profile_path_free(path);
    return code;
}

enum err verb_archive(const struct args *a, struct answer *r, struct err_msg *e)
{
    struct archive_folder f;
    if (args_value(a, OPT_OUTPUT) == NULL)
        return err_set(e, ERR_USAGE, "archive needs -o FOLDER");
    TRY(archive_folder_open(&f, a, e));
    enum err code = take_captures(a, &f, e);
    if (code == ERR_OK)
        code = archive_folder_write(&f, e);
    if (code == ERR_OK)
        code = archive_folder_say(&f, a, r);
    archive_folder_close(&f);
    return code;
}

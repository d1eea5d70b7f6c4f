/* archive: a disk's sectors saved, with a record of what is sound. */
#include "archive/capture.h"
#include "base/file.h"
#include "cli/archive_adapter.h"
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
    struct profile *drive = NULL;
    enum err code = args_drive(a, OPT_DRIVE_PROFILE, &drive, e);
    for (size_t i = 0; code == ERR_OK && i < a->words; i++)
        code = take_capture(a, a->word[i], drive, f, e);
    profile_free(drive);
    return code;
}

/* What was read is written out whatever ended the reading. */
static enum err from_adapter(const struct args *a, struct archive_folder *f, struct err_msg *e)
{
    struct err_msg late = {0};
    bool begun = false;
    enum err code = archive_over_adapter(a, f, &begun, e);
    if (!begun)
        return code;
    enum err written = archive_folder_write(f, &late);
    if (written != ERR_OK && code == ERR_OK)
        return err_set(e, written, "%s", late.text);
    if (written == ERR_OK && code != ERR_OK)
        (void)fprintf(stderr,
                      "whichend: what was read stands in %s; --resume goes on with it\n",
                      f->path);
    return code;
}

static enum err words_fit(const struct args *a, bool adapter, struct err_msg *e)
{
    static const enum opt of_adapter[] = {OPT_CYLINDERS, OPT_SIDES,       OPT_TURNS,
                                          OPT_AFFIRM,    OPT_ACCEPT_RISK, OPT_UNIT,
                                          OPT_DISK_OUT,  OPT_IMAGE,       OPT_WORN};
    if (args_value(a, OPT_OUTPUT) == NULL)
        return err_set(e, ERR_USAGE, "archive needs -o FOLDER");
    if (adapter == (a->words > 0))
        return err_set(e, ERR_USAGE, "archive takes captures, or --adapter: %s",
                       adapter ? "not both" : "neither is given");
    for (size_t i = 0; !adapter && i < sizeof of_adapter / sizeof of_adapter[0]; i++)
        if (args_has(a, of_adapter[i]))
            return err_set(e, ERR_USAGE, "--%s goes with --adapter",
                           option_row(of_adapter[i])->name);
    return ERR_OK;
}

enum err verb_archive(const struct args *a, struct answer *r, struct err_msg *e)
{
    struct archive_folder f;
    bool adapter = args_has(a, OPT_ADAPTER);
    TRY(words_fit(a, adapter, e));
    TRY(archive_folder_open(&f, a, e));
    enum err code = adapter ? from_adapter(a, &f, e) : take_captures(a, &f, e);
    if (code == ERR_OK && !adapter)
        code = archive_folder_write(&f, e);
    if (code == ERR_OK)
        code = archive_folder_say(&f, a, r);
    archive_folder_close(&f);
    return code;
}

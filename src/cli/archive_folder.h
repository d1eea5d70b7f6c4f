/* The folder of one archived disk: what is there, and how it is written. */
#ifndef WHICHEND_CLI_ARCHIVE_FOLDER_H
#define WHICHEND_CLI_ARCHIVE_FOLDER_H

#include "archive/archive.h"
#include "cli/cli.h"
#include "report/archive.h"

struct archive_folder {
    const char *path; /* as given */
    char *image_path, *json_path;
    bool replace;
    char utc[24];
    struct archive archive;
    struct archive_object object;
    struct archive_layout layout;
    uint8_t *image;
    struct fat_volume volume;
};

/* -o, --replace, --object. ERR_CREATE where an archive is there and may not be replaced, or the
 * folder cannot be made. */
enum err archive_folder_open(struct archive_folder *f, const struct args *a, struct err_msg *e);
/* Image and map, each whole. */
enum err archive_folder_write(struct archive_folder *f, struct err_msg *e);
/* What standard output shows, and the exit status. After archive_folder_write(). */
enum err archive_folder_say(struct archive_folder *f, const struct args *a, struct answer *r);
void archive_folder_close(struct archive_folder *f);

/* A pass that begins now. */
struct archive_pass archive_pass_named(const char *file, const char *from);

#endif

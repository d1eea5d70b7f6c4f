/* The folder of one archived disk: what is there, and how it is written. */
#ifndef WHICHEND_CLI_ARCHIVE_FOLDER_H
#define WHICHEND_CLI_ARCHIVE_FOLDER_H

#include "archive/archive.h"
#include "archive/journal.h"
#include "cli/cli.h"
#include "report/archive.h"

struct archive_folder {
    const char *path; /* as given */
    char *image_path, *json_path, *part_path;
    int lock;     /* of the folder, -1 none */
    bool replace; /* what is there may be overwritten */
    struct journal journal;
    char utc[24];
    struct archive archive;
    struct archive_layout layout;
    uint8_t *image;
    struct fat_volume volume;
};

/* -o, --replace, --resume, --object. Reads what is there to go on with. ERR_CREATE where an
 * archive is there and may not be replaced, the folder cannot be made, or another program works
 * in it. */
enum err archive_folder_open(struct archive_folder *f, const struct args *a, struct err_msg *e);
/* Image and map, each whole; while they are exchanged the journal holds all. */
enum err archive_folder_write(struct archive_folder *f, struct err_msg *e);
/* What standard output shows, and the exit status. After archive_folder_write(). */
enum err archive_folder_say(struct archive_folder *f, const struct args *a, struct answer *r);
void archive_folder_close(struct archive_folder *f);

/* From here on every track that is done is kept: see archive/journal.h. */
enum err archive_folder_keep(struct archive_folder *f, struct err_msg *e);
/* A name in the folder; yours. */
enum err archive_folder_file(const struct archive_folder *f, const char *name, char **out,
                             struct err_msg *e);
/* The capture is a recording that the archive made itself, and holds already. */
bool archive_folder_own(const struct archive_folder *f, const char *capture);

/* A pass that begins now. */
struct archive_pass archive_pass_named(const char *file, const char *from);

#endif

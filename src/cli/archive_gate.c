#include "cli/archive_gate.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { HEADS, SCRATCH, RING, DISK, STATEMENTS };

static const struct {
    const char *word;
    const char *question;
} statement[STATEMENTS] = {
    {"heads-cleaned",
     "Heads looked at, cleaned (power off, lint-free swab, pure isopropyl) and "
     "dry?"},
    {"scratch-alike", "A scratch disk read, taken out, put back and read again, with equal "
                      "results?"},
    {"no-ring",
     "Scratch disk out. Both its sides looked at under a lamp: no ring, no scratch?"},
    {"disk-looked-at", "The valued disk turned by hand in its jacket: no mould, no sticking?"},
};

static bool at_terminal(void)
{
    return isatty(STDIN_FILENO) && isatty(STDERR_FILENO);
}

static enum err words(const struct args *a, struct archive_gate *g, struct err_msg *e)
{
    for (size_t i = 0; i < a->given_count; i++) {
        int n = 0;
        if (a->given[i].opt != OPT_AFFIRM)
            continue;
        while (n < STATEMENTS && strcmp(statement[n].word, a->given[i].value) != 0)
            n++;
        if (n == STATEMENTS)
            return err_set(e, ERR_USAGE, "--affirm is %s, %s, %s or %s, not '%s'",
                           statement[0].word, statement[1].word, statement[2].word,
                           statement[3].word, a->given[i].value);
        g->affirmed[n] = true;
    }
    return ERR_OK;
}

enum err archive_gate_told(const struct args *a, struct archive_gate *g, struct err_msg *e)
{
    char list[200] = "";
    size_t at = 0;
    *g = (struct archive_gate){.risk = args_value(a, OPT_ACCEPT_RISK)};
    TRY(words(a, g, e));
    if (g->risk != NULL && g->risk[0] == '\0')
        return err_set(e, ERR_USAGE, "--accept-risk needs the reason: it is kept");
    if (g->risk != NULL || at_terminal())
        return ERR_OK;
    for (int i = 0; i < STATEMENTS; i++)
        if (!g->affirmed[i])
            at += (size_t)snprintf(list + at, sizeof list - at, "%s--affirm %s",
                                   at > 0 ? ", " : "", statement[i].word);
    if (at == 0)
        return ERR_OK;
    return err_set(
        e, ERR_USAGE,
        "a drive that nobody has looked at destroys disks: it waits for %s (whichend "
        "archive --help says what each means), or for --accept-risk REASON",
        list);
}

/* ---- a scratch disk, read twice ---- */

static enum err scratch_read(struct archive_bus *b, struct archive_tracks *into,
                             struct err_msg *e)
{
    int last = adapter_use_limits(b->u).last_cylinder;
    const int cylinder[] = {0, last / 2, last};
    int sides = profile_number(b->u->drive, "sides", 2) < 2 ? 1 : 2;
    struct archive_seen seen;
    TRY(archive_bus_start(b, e));
    for (size_t i = 0; i < sizeof cylinder / sizeof cylinder[0]; i++) {
        TRY(archive_bus_seek(b, cylinder[i], false, e));
        for (int side = 0; side < sides; side++)
            TRY(archive_bus_read(b, cylinder[i], side, 2, into, 0, &seen, e));
    }
    return archive_bus_rest(b, e);
}

static const struct archive_sector *same(const struct archive_track *t,
                                         const struct archive_sector *like)
{
    for (size_t i = 0; t != NULL && i < t->count; i++)
        if (t->sector[i].number == like->number && t->sector[i].size_code == like->size_code &&
            t->sector[i].id_cylinder == like->id_cylinder)
            return &t->sector[i];
    return NULL;
}

/* Every sector that was good is good again, with the same bytes. */
static enum err scratch_compare(const struct archive_tracks *one,
                                const struct archive_tracks *two, struct err_msg *e)
{
    int good = 0;
    for (size_t i = 0; i < one->count; i++) {
        const struct archive_track *k = &one->track[i];
        for (size_t n = 0; n < k->count; n++) {
            const struct archive_sector *s = &k->sector[n];
            const struct archive_sector *again =
                same(archive_track_find(two, k->key.at[0], k->key.at[1]), s);
            if (archive_sector_state(s) != FIELD_GOOD)
                continue;
            good++;
            if (again == NULL || archive_sector_state(again) != FIELD_GOOD ||
                memcmp(s->bytes, again->bytes, (size_t)128 << s->size_code) != 0)
                return err_set(e, ERR_ADAPTER,
                               "the scratch disk read otherwise the second time (cylinder %d, "
                               "side %d, sector %d): no valued disk into this drive",
                               k->key.at[0], k->key.at[1], s->number);
        }
    }
    return good > 0 ? ERR_OK
                    : err_set(e, ERR_ADAPTER,
                              "nothing good was read of the scratch disk: no valued disk into "
                              "this drive");
}

static enum err scratch(struct archive_gate *g, struct archive_bus *b, struct err_msg *e)
{
    struct archive_tracks one = {.track = NULL};
    struct archive_tracks two = {.track = NULL};
    enum err err = adapter_use_ask(b->u, "A recorded scratch disk in, lever closed?", e);
    if (err == ERR_OK)
        err = scratch_read(b, &one, e);
    if (err == ERR_OK)
        err = adapter_use_ask(b->u, "Take it out, put it in again. Lever closed?", e);
    if (err == ERR_OK)
        err = scratch_read(b, &two, e);
    if (err == ERR_OK)
        err = scratch_compare(&one, &two, e);
    archive_tracks_release(&one);
    archive_tracks_release(&two);
    g->scratch = err == ERR_OK;
    g->affirmed[SCRATCH] = err == ERR_OK;
    return err;
}

enum err archive_gate_ask(struct archive_gate *g, struct archive_bus *b, struct err_msg *e)
{
    for (int i = 0; i < STATEMENTS && g->risk == NULL && at_terminal(); i++) {
        if (g->affirmed[i])
            continue;
        TRY(i == SCRATCH ? scratch(g, b, e) : adapter_use_ask(b->u, statement[i].question, e));
        g->affirmed[i] = true;
    }
    return adapter_use_ask(
        b->u,
        "Nobody else is on the bus. The disk to save, protected, is in, lever "
        "closed? A squeal: Ctrl-C, disk out.",
        e);
}

enum err archive_gate_protected(struct archive_gate *g, const struct archive_bus *b,
                                struct err_msg *e)
{
    g->wprot = (enum level)b->level[LINE_WPROT];
    if (g->wprot == LEVEL_LOW || g->risk != NULL)
        return ERR_OK;
    return err_set(e, ERR_USAGE,
                   "WPROT does not read protected: protect the disk (an 8-inch one by an open "
                   "notch); where the sensor is a suspect, --accept-risk REASON goes on");
}

void archive_gate_note(const struct archive_gate *g, struct archive_pass *pass)
{
    size_t at = 0;
    for (int i = 0; i < STATEMENTS; i++)
        if (g->affirmed[i] && !(i == SCRATCH && g->scratch))
            at += (size_t)snprintf(pass->affirmed + at, sizeof pass->affirmed - at, "%s%s",
                                   at > 0 ? ", " : "", statement[i].word);
    (void)snprintf(pass->checked, sizeof pass->checked, "WGATE quiet, WPROT %s%s",
                   g->wprot == LEVEL_LOW    ? "protected"
                   : g->wprot == LEVEL_HIGH ? "not protected"
                                            : "not recorded",
                   g->scratch ? ", scratch disk read twice alike" : "");
    (void)snprintf(pass->risk, sizeof pass->risk, "%s", g->risk != NULL ? g->risk : "");
}

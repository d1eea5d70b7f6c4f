/* Help, drawn from the two tables. */
#include "cli/cli.h"
#include "report/text.h"

#include <stdio.h>
#include <string.h>

static enum err row(struct buf *out, const struct verb *v)
{
    char lead[64];
    (void)snprintf(lead, sizeof lead, "%s %s", v->name, v->words);
    return text_wrap(out, 2, lead, 38, v->summary);
}

enum err help_all(struct buf *out)
{
    size_t count = 0;
    const struct verb *v = verbs(&count);
    TRY(text_wrap(
        out, 0, "", 0,
        "whichend finds which end of a floppy disk subsystem is at fault - drive, cable, "
        "machine "
        "side, disk, supply, or bench and fitting - from recordings of the drive bus."));
    TRY(buf_str(out, "\n"));
    for (size_t i = 0; i < count; i++) {
        TRY(row(out, &v[i]));
    }
    TRY(buf_str(out, "\n"));
    TRY(text_wrap(out, 0, "", 0, "whichend VERB --help says more."));
    return text_wrap(
        out, 0, "Exit status:", 13,
        "0 done, nothing at fault; 3 a fault was found; 4 leaning, undecided, or not all was "
        "measured or saved; 64 the call is wrong; 65 input is not what it should be; 66 input "
        "is "
        "missing; 69 adapter unavailable or lost; 70 internal; 73 output cannot be made; 74 a "
        "read or write failed; 130 interrupted.");
}

enum err help_group(const char *group, struct buf *out)
{
    size_t count = 0;
    const struct verb *v = verbs(&count);
    size_t len = strlen(group);
    for (size_t i = 0; i < count; i++) {
        if (strncmp(v[i].name, group, len) == 0 && v[i].name[len] == ' ') {
            TRY(row(out, &v[i]));
        }
    }
    return ERR_OK;
}

static enum err option(struct buf *out, enum opt o)
{
    const struct option_row *r = option_row(o);
    char lead[80];
    char letter[8] = "";
    if (r->letter != 0) {
        (void)snprintf(letter, sizeof letter, "-%c, ", r->letter);
    }
    (void)snprintf(lead, sizeof lead, "%s--%s%s%s", letter, r->name,
                   r->value != NULL ? " " : "", r->value != NULL ? r->value : "");
    return text_wrap(out, 2, lead, 28, r->help);
}

enum err help_verb(const struct verb *v, struct buf *out)
{
    const char *detail = v->detail;
    TRY(buf_printf(out, "whichend %s%s%s%s\n\n", v->name, v->words[0] != '\0' ? " " : "",
                   v->words, v->options != 0 ? " [options]" : ""));
    TRY(text_wrap(out, 0, "", 0, v->summary));
    while (*detail != '\0') {
        char paragraph[600];
        size_t len = strcspn(detail, "\n");
        (void)snprintf(paragraph, sizeof paragraph, "%.*s", (int)len, detail);
        TRY(buf_str(out, "\n"));
        TRY(text_wrap(out, 0, "", 0, paragraph));
        detail += len;
        detail += *detail == '\n';
    }
    TRY(buf_str(out, "\n"));
    for (int o = 0; o < OPT_COUNT; o++) {
        if (o == OPT_HELP || (v->options & OPT_BIT(o)) != 0) {
            TRY(option(out, (enum opt)o));
        }
    }
    return ERR_OK;
}

/* The facts of a case on a page: its parts, its captures, and what a person told. */
#include "report/page_parts.h"

#include <stdio.h>
#include <string.h>

#define TOLD_SHOWN     300
#define CAPTURES_SHOWN 100

static enum err row(struct buf *out, const char *name, const char *text)
{
    TRY(buf_str(out, "<tr>"));
    TRY(html_el(out, "th scope=\"row\"", name));
    TRY(html_el(out, "td", text));
    return buf_str(out, "</tr>\n");
}

static enum err profile(struct buf *out, const char *name, const struct profile *x,
                        bool assumed)
{
    char text[400];
    (void)snprintf(text, sizeof text, "%s (%s)%s", profile_title(x), profile_name(x),
                   assumed ? "; assumed, the case names none" : "");
    return row(out, name, text);
}

static const char *disk_words(enum disk_state d)
{
    static const char *const words[] = {"nothing is known of it", "known good: read elsewhere",
                                        "blank", "none in the drive"};
    return words[d];
}

static enum err parts(struct buf *out, const struct case_file *c)
{
    char drives[40];
    TRY(buf_str(out, "<table>\n<caption>The set</caption>\n<tbody>\n"));
    TRY(profile(out, "Machine", c->machine, c->machine_assumed));
    TRY(profile(out, "Drive", c->drive, c->drive_assumed));
    TRY(profile(out, "Cable", c->cable, c->cable_assumed));
    TRY(row(out, "Disk", disk_words(c->disk)));
    TRY(row(out, "May be overwritten", c->scratch ? "yes, a scratch disk" : "no"));
    if (c->drives_attached > 0) {
        (void)snprintf(drives, sizeof drives, "%d", c->drives_attached);
        TRY(row(out, "Drives attached", drives));
    }
    return buf_str(out, "</tbody>\n</table>\n");
}

/* The keys of [case] that the table above shows already. */
static bool in_parts(const struct ini_entry *x)
{
    static const char *const keys[] = {"title", "machine", "drive",          "cable",
                                       "disk",  "scratch", "drives-attached"};
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        if (strcmp(x->section, "case") == 0 && strcmp(x->key, keys[i]) == 0) {
            return true;
        }
    }
    return false;
}

static bool is_told(const struct ini_entry *x)
{
    return x->key != NULL && !in_parts(x) && strncmp(x->section, "capture", 7) != 0 &&
           strncmp(x->section, "lines", 5) != 0;
}

static enum err told_row(struct buf *out, const struct ini_entry *x)
{
    char section[64];
    size_t len = strcspn(x->section, " ");
    (void)snprintf(section, sizeof section, "%.*s", (int)len, x->section);
    const struct case_key *k = case_key_find(section, x->key);
    TRY(buf_str(out, "<tr>"));
    TRY(html_el(out, "td", x->section));
    if (k != NULL && k->question != NULL) {
        TRY(html_elf(out, "th scope=\"row\"", "%s (%s)", k->question, x->key));
    } else {
        TRY(html_el(out, "th scope=\"row\"", x->key));
    }
    TRY(html_el(out, "td", x->value));
    return buf_str(out, "</tr>\n");
}

static enum err told(struct buf *out, const struct case_file *c)
{
    size_t count = 0;
    for (size_t i = 0; i < c->ini.count; i++) {
        if (!is_told(&c->ini.entry[i]) || count++ >= TOLD_SHOWN) {
            continue;
        }
        if (count == 1) {
            TRY(buf_str(out, "<table class=\"rows\">\n<caption>What a person saw, measured and "
                             "tried</caption>\n<thead><tr><th scope=\"col\">Of</th>"
                             "<th scope=\"col\">Asked</th><th scope=\"col\">Said</th></tr>"
                             "</thead>\n<tbody>\n"));
        }
        TRY(told_row(out, &c->ini.entry[i]));
    }
    if (count == 0) {
        return html_el(out, "p", "Nothing was told beside the captures.");
    }
    TRY(buf_str(out, "</tbody>\n</table>\n"));
    return count <= TOLD_SHOWN
               ? ERR_OK
               : html_elf(out, "p", "And %zu more in case.ini.", count - TOLD_SHOWN);
}

/* A key of the capture's own section, as it was written; "" where it was not. */
static const char *written(const struct case_file *c, const struct case_capture *cap,
                           const char *key)
{
    const char *name = NULL;
    for (size_t i = 0; i < c->ini.count; i++) {
        const struct ini_entry *x = &c->ini.entry[i];
        name = strncmp(x->section, "capture ", 8) == 0 ? x->section + 8 : NULL;
        if (x->key != NULL && name != NULL && strcmp(name, cap->name) == 0 &&
            strcmp(x->key, key) == 0) {
            return x->value;
        }
    }
    return "";
}

static enum err captures(struct buf *out, const struct case_file *c)
{
    static const char *const keys[] = {"file",    "tap",          "role",  "run",  "asked",
                                       "outcome", "worked-times", "error", "disk", "pull-up"};
    static const char *const names[] = {
        "File",    "Tap",    "Role",        "Run",  "Asked",
        "Outcome", "Worked", "Error shown", "Disk", "Pull-up of the tap"};
    bool filled[sizeof keys / sizeof keys[0]] = {false};
    const size_t count = sizeof keys / sizeof keys[0];
    const size_t shown = c->capture_count < CAPTURES_SHOWN ? c->capture_count : CAPTURES_SHOWN;
    if (c->capture_count == 0) {
        return html_el(out, "p", "No capture was taken.");
    }
    for (size_t i = 0; i < shown * count; i++) {
        filled[i % count] =
            filled[i % count] || written(c, &c->capture[i / count], keys[i % count])[0] != '\0';
    }
    TRY(buf_str(out, "<div class=\"wide\"><table>\n<caption>Captures</caption>\n<thead><tr>"
                     "<th scope=\"col\">Name</th>"));
    for (size_t k = 0; k < count; k++) {
        TRY(filled[k] ? html_el(out, "th scope=\"col\"", names[k]) : ERR_OK);
    }
    TRY(buf_str(out, "</tr></thead>\n<tbody>\n"));
    for (size_t i = 0; i < shown; i++) {
        TRY(buf_str(out, "<tr>"));
        TRY(html_el(out, "th scope=\"row\"", c->capture[i].name));
        for (size_t k = 0; k < count; k++) {
            TRY(filled[k] ? html_el(out, "td", written(c, &c->capture[i], keys[k])) : ERR_OK);
        }
        TRY(buf_str(out, "</tr>\n"));
    }
    TRY(buf_str(out, "</tbody>\n</table></div>\n"));
    return c->capture_count <= CAPTURES_SHOWN ? ERR_OK
                                              : html_elf(out, "p", "And %zu more in case.ini.",
                                                         c->capture_count - CAPTURES_SHOWN);
}

enum err page_case(struct buf *out, const struct page *p)
{
    TRY(buf_str(out, "<section class=\"long\">\n<h2>The case</h2>\n"));
    TRY(parts(out, p->c));
    TRY(captures(out, p->c));
    TRY(told(out, p->c));
    return buf_str(out, "</section>\n");
}

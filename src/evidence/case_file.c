/* case.ini read and checked; the keys are one table (case_keys.c). */
#include "base/file.h"
#include "evidence/case_private.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define CAPTURES_MAX      64
#define SWAPS_MAX         256
#define TOLD_MAX          4096
#define SECTION_BYTES_MAX 100

struct reader {
    const struct ini_file *ini;
    struct case_file *c;
    const struct profile_path *profiles;
    size_t capture_cap, swap_cap, told_cap;
    bool has_case;
    int drive_place, machine_place, cable_place;
    struct err_msg *e;
};

/* "capture at-machine" to its word and its name ("" if none). */
static const struct case_section *split_section(const char *section,
                                                char word[SECTION_BYTES_MAX], const char **name)
{
    size_t len = strcspn(section, " \t");
    len = len < SECTION_BYTES_MAX - 1 ? len : SECTION_BYTES_MAX - 1;
    memcpy(word, section, len);
    word[len] = '\0';
    *name = section + len + strspn(section + len, " \t");
    return case_section_find(word);
}

static enum err bad_section(struct reader *r, const struct ini_entry *x, const char *word)
{
    const char *near = case_nearest_section(word);
    return err_set(r->e, ERR_FORMAT, "%s:%d: unknown section [%s]%s%s%s", r->ini->path, x->line,
                   x->section, near != NULL ? ", did you mean [" : "", near != NULL ? near : "",
                   near != NULL ? "]?" : "");
}

static enum err bad_key(struct reader *r, const struct ini_entry *x, const char *word)
{
    const char *near = case_nearest_key(word, x->key);
    return err_set(r->e, ERR_FORMAT, "%s:%d: unknown key '%s' in [%s]%s%s%s", r->ini->path,
                   x->line, x->key, x->section, near != NULL ? ", did you mean '" : "",
                   near != NULL ? near : "", near != NULL ? "'?" : "");
}

static enum err bad_value(struct reader *r, const struct ini_entry *x,
                          const struct case_key *key)
{
    char allowed[CASE_VALUES_TEXT_MAX];
    if (x->value[0] == '\0') {
        return err_set(r->e, ERR_FORMAT, "%s:%d: '%s' has no value", r->ini->path, x->line,
                       x->key);
    }
    return err_set(r->e, ERR_FORMAT, "%s:%d: '%s' cannot be '%s'; it is %s", r->ini->path,
                   x->line, x->key, x->value, case_values_text(key, allowed));
}

static enum err tell(struct reader *r, const struct ini_entry *x, const char *word,
                     const char *name)
{
    struct case_file *c = r->c;
    const struct case_key *key = case_key_find(word, x->key);
    if (c->told_count == TOLD_MAX) {
        return err_set(r->e, ERR_FORMAT, "%s:%d: too many keys", r->ini->path, x->line);
    }
    TRY(array_grow((void **)&c->told, &r->told_cap, c->told_count + 1, sizeof c->told[0],
                   TOLD_MAX));
    c->told[c->told_count++] = (struct told){key->section, name, key->key, x->value, x->line};
    return ERR_OK;
}

static enum err take_case(struct reader *r, const struct ini_entry *x)
{
    struct case_file *c = r->c;
    if (strcmp(x->key, "title") == 0) {
        c->title = x->value;
    } else if (strcmp(x->key, "machine") == 0) {
        c->machine_name = x->value;
        r->machine_place = x->line;
    } else if (strcmp(x->key, "drive") == 0) {
        c->drive_name = x->value;
        r->drive_place = x->line;
    } else if (strcmp(x->key, "cable") == 0) {
        c->cable_name = x->value;
        r->cable_place = x->line;
    } else if (strcmp(x->key, "disk") == 0) {
        c->disk = case_disk_by_word(x->value);
    } else if (strcmp(x->key, "scratch") == 0) {
        c->scratch = strcmp(x->value, "yes") == 0;
    } else if (strcmp(x->key, "drives-attached") == 0) {
        c->drives_attached = case_whole_number(x->value);
    } else {
        return tell(r, x, "case", "");
    }
    return ERR_OK;
}

static enum err take_file(struct reader *r, const struct ini_entry *x, struct case_capture *cap)
{
    struct buf joined;
    if (!path_stays_inside(r->c->folder, x->value)) {
        return err_set(r->e, ERR_FORMAT, "%s:%d: '%s' leaves the case's folder", r->ini->path,
                       x->line, x->value);
    }
    TRY(path_join(&joined, r->c->folder, x->value));
    cap->file = x->value;
    cap->path = joined.data;
    return ERR_OK;
}

static enum err take_capture(struct reader *r, const struct ini_entry *x)
{
    struct case_capture *cap = &r->c->capture[r->c->capture_count - 1];
    const char *key = x->key;
    const char *v = x->value;
    if (strcmp(key, "file") == 0) {
        return take_file(r, x, cap);
    }
    if (strcmp(key, "role") == 0) {
        cap->role = case_role_by_word(v);
    } else if (strcmp(key, "tap") == 0) {
        cap->tap = strcmp(v, "machine-end") == 0 ? TAP_MACHINE_END : TAP_DRIVE_END;
    } else if (strcmp(key, "pull-up") == 0) {
        cap->pull_up_ohm = strcmp(v, "none") == 0 ? 0 : case_whole_number(v);
    } else if (strcmp(key, "run") == 0) {
        cap->run = v;
    } else if (strcmp(key, "after") == 0) {
        cap->after = v;
        cap->after_place = x->line;
    } else if (strcmp(key, "asked") == 0) {
        cap->asked = case_asked_by_list(v);
    } else if (strcmp(key, "outcome") == 0) {
        cap->outcome = case_outcome_by_word(v);
    } else if (strcmp(key, "disk") == 0) {
        cap->disk = case_disk_by_word(v);
        cap->disk_said = true;
    } else if (strcmp(key, "unit") == 0) {
        cap->unit = case_whole_number(v);
    } else if (strcmp(key, "worked-times") == 0) {
        (void)case_ratio(v, &cap->worked, &cap->tried);
    } else if (strcmp(key, "error") == 0) {
        cap->error = v;
    }
    return ERR_OK;
}

static void take_swap(struct swap_tried *s, const struct ini_entry *x)
{
    if (strcmp(x->key, "part") == 0) {
        s->part = x->value;
    } else if (strcmp(x->key, "condition") == 0) {
        s->known_good = strcmp(x->value, "known-good") == 0;
    } else if (strcmp(x->key, "outcome") == 0) {
        s->outcome = case_outcome_by_word(x->value);
    } else if (strcmp(x->key, "into") == 0) {
        s->into = x->value;
    } else if (strcmp(x->key, "back") == 0) {
        s->back = x->value;
    } else if (strcmp(x->key, "reseated") == 0) {
        s->reseated = strcmp(x->value, "yes") == 0;
    } else if (strcmp(x->key, "elsewhere") == 0) {
        s->elsewhere = x->value;
    } else if (strcmp(x->key, "count") == 0) {
        s->count = case_whole_number(x->value);
    }
}

/* A section's own line. */
static enum err open_section(struct reader *r, const struct ini_entry *x)
{
    struct case_file *c = r->c;
    char word[SECTION_BYTES_MAX];
    const char *name = NULL;
    const struct case_section *s = split_section(x->section, word, &name);
    if (s == NULL) {
        return bad_section(r, x, word);
    }
    if ((s->name == NAME_NEEDED && name[0] == '\0') ||
        (s->name == NAME_NONE && name[0] != '\0')) {
        return err_set(r->e, ERR_FORMAT, "%s:%d: [%s] %s", r->ini->path, x->line, x->section,
                       s->name == NAME_NONE ? "takes no name"
                                            : "needs a name, as in [capture one]");
    }
    r->has_case = r->has_case || strcmp(word, "case") == 0;
    if (strcmp(word, "capture") == 0) {
        if (c->capture_count == CAPTURES_MAX) {
            return err_set(r->e, ERR_FORMAT, "%s:%d: more than %d captures", r->ini->path,
                           x->line, CAPTURES_MAX);
        }
        TRY(array_grow((void **)&c->capture, &r->capture_cap, c->capture_count + 1,
                       sizeof c->capture[0], CAPTURES_MAX));
        struct case_capture *cap = &c->capture[c->capture_count++];
        memset(cap, 0, sizeof *cap);
        cap->name = name;
        cap->unit = -1;
        cap->place = x->line;
        cap->map.from = r->ini->path;
    } else if (strcmp(word, "swap") == 0) {
        if (c->swap_count == SWAPS_MAX) {
            return err_set(r->e, ERR_FORMAT, "%s:%d: more than %d swaps", r->ini->path, x->line,
                           SWAPS_MAX);
        }
        TRY(array_grow((void **)&c->swap, &r->swap_cap, c->swap_count + 1, sizeof c->swap[0],
                       SWAPS_MAX));
        c->swap[c->swap_count++] =
            (struct swap_tried){.name = name, .reseated = -1, .count = 1, .place = x->line};
    }
    return ERR_OK;
}

static enum err take(struct reader *r, const struct ini_entry *x)
{
    char word[SECTION_BYTES_MAX];
    const char *name = NULL;
    const struct case_key *key = NULL;
    if (x->key == NULL) {
        return open_section(r, x);
    }
    (void)split_section(x->section, word, &name);
    if (strcmp(word, "lines") == 0) { /* mapped when all captures are known */
        return line_by_name(x->key) != LINE_NONE || rail_by_name(x->key) != RAIL_NONE
                   ? ERR_OK
                   : bad_key(r, x, word);
    }
    key = case_key_find(word, x->key);
    if (key == NULL) {
        return bad_key(r, x, word);
    }
    if (!case_value_fits(key, x->value)) {
        return bad_value(r, x, key);
    }
    if (strcmp(word, "case") == 0) {
        return take_case(r, x);
    }
    if (strcmp(word, "capture") == 0) {
        return take_capture(r, x);
    }
    if (strcmp(word, "swap") == 0) {
        take_swap(&r->c->swap[r->c->swap_count - 1], x);
        return ERR_OK;
    }
    return tell(r, x, word, name);
}

/* true when [lines NAME] of this capture maps `key` itself */
static bool own_mapping(const struct ini_file *ini, const char *capture, const char *key)
{
    for (size_t i = 0; i < ini->count; i++) {
        char word[SECTION_BYTES_MAX];
        const char *name = NULL;
        (void)split_section(ini->entry[i].section, word, &name);
        if (ini->entry[i].key != NULL && strcmp(word, "lines") == 0 &&
            strcmp(name, capture) == 0 && strcasecmp(ini->entry[i].key, key) == 0) {
            return true;
        }
    }
    return false;
}

static enum err map_lines(struct reader *r)
{
    struct case_file *c = r->c;
    for (size_t i = 0; i < r->ini->count; i++) {
        const struct ini_entry *x = &r->ini->entry[i];
        char word[SECTION_BYTES_MAX];
        const char *name = NULL;
        bool found = false;
        (void)split_section(x->section, word, &name);
        if (strcmp(word, "lines") != 0) {
            continue;
        }
        for (size_t k = 0; k < c->capture_count; k++) {
            bool mine = strcmp(name, c->capture[k].name) == 0;
            found = found || mine;
            if (x->key != NULL &&
                (mine ||
                 (name[0] == '\0' && !own_mapping(r->ini, c->capture[k].name, x->key)))) {
                TRY(line_map_add(&c->capture[k].map, x->key, x->value, x->line, r->e));
            }
        }
        if (name[0] != '\0' && !found) {
            return err_set(r->e, ERR_FORMAT, "%s:%d: there is no [capture %s]", r->ini->path,
                           x->line, name);
        }
    }
    return ERR_OK;
}

/* A capture is taken after works that the case tells of. */
static enum err check_after(const struct reader *r, const struct case_capture *cap)
{
    const char *at = cap->after, *item;
    size_t len;
    while (at != NULL && case_list_next(&at, &item, &len)) {
        bool found = false;
        for (size_t i = 0; i < r->c->told_count && !found; i++) {
            const struct told *t = &r->c->told[i];
            found = strcmp(t->section, "repair") == 0 && strcmp(t->key, "part") == 0 &&
                    strlen(t->name) == len && memcmp(t->name, item, len) == 0;
        }
        if (!found) {
            return err_set(r->e, ERR_FORMAT, "%s:%d: there is no [repair %.*s] with a part",
                           r->ini->path, cap->after_place, (int)len, item);
        }
    }
    return ERR_OK;
}

static enum err complete(struct reader *r)
{
    struct case_file *c = r->c;
    for (size_t i = 0; i < c->capture_count; i++) {
        struct case_capture *cap = &c->capture[i];
        if (cap->file == NULL) {
            return err_set(r->e, ERR_FORMAT, "%s:%d: [capture %s] names no file", r->ini->path,
                           cap->place, cap->name);
        }
        cap->disk = cap->disk_said ? cap->disk : c->disk;
        TRY(check_after(r, cap));
    }
    for (size_t i = 0; i < c->swap_count; i++) {
        if (c->swap[i].part == NULL || c->swap[i].outcome == OUTCOME_UNKNOWN) {
            return err_set(r->e, ERR_FORMAT, "%s:%d: [swap %s] needs part and outcome",
                           r->ini->path, c->swap[i].place, c->swap[i].name);
        }
    }
    return ERR_OK;
}

/* In a case an unknown profile is wrong input, not a wrong call. */
static enum err load(struct reader *r, enum profile_kind kind, int place, const char *name,
                     struct profile **out)
{
    struct err_msg why = {0};
    enum err code = profile_load(r->profiles, kind, name, out, &why);
    if (code == ERR_USAGE) {
        return place > 0 ? err_set(r->e, ERR_FORMAT, "%s:%d: %s", r->ini->path, place, why.text)
                         : err_set(r->e, ERR_FORMAT, "%s: it names no %s, and %s", r->ini->path,
                                   profile_kind_word(kind), why.text);
    }
    return code == ERR_OK ? ERR_OK : err_set(r->e, code, "%s", why.text);
}

static enum err load_profiles(struct reader *r)
{
    struct case_file *c = r->c;
    c->machine_assumed = c->machine_name == NULL;
    c->drive_assumed = c->drive_name == NULL;
    c->cable_assumed = c->cable_name == NULL;
    c->machine_name = c->machine_assumed ? "controller-generic" : c->machine_name;
    c->drive_name = c->drive_assumed ? "drive-35-dd" : c->drive_name;
    c->cable_name = c->cable_assumed ? "ribbon-34-straight" : c->cable_name;
    TRY(load(r, PROFILE_CONTROLLER, r->machine_place, c->machine_name, &c->machine));
    TRY(load(r, PROFILE_DRIVE, r->drive_place, c->drive_name, &c->drive));
    return load(r, PROFILE_CABLE, r->cable_place, c->cable_name, &c->cable);
}

static enum err read_all(struct reader *r)
{
    for (size_t i = 0; i < r->ini->count; i++) {
        TRY(take(r, &r->ini->entry[i]));
    }
    if (!r->has_case) {
        return err_set(r->e, ERR_FORMAT, "%s: no [case] section", r->ini->path);
    }
    TRY(complete(r));
    TRY(map_lines(r));
    if (r->c->title == NULL) {
        r->c->title = "untitled";
    }
    return r->profiles != NULL ? load_profiles(r) : ERR_OK;
}

enum err case_file_parse(const char *path, const char *folder, const char *text, size_t len,
                         const struct profile_path *profiles, struct case_file *out,
                         struct err_msg *e)
{
    struct case_file c = {0};
    struct reader r = {.c = &c, .profiles = profiles, .e = e};
    enum err code = ini_file_parse(path, text, len, &c.ini, e);
    if (code != ERR_OK) {
        return code;
    }
    r.ini = &c.ini;
    c.folder = strdup(folder);
    c.path = strdup(path);
    code = c.folder != NULL && c.path != NULL ? read_all(&r) : ERR_MEMORY;
    if (code != ERR_OK) {
        (void)err_set(e, code, "%s: %s", path, err_text(code));
        case_file_release(&c);
        return code;
    }
    *out = c;
    return ERR_OK;
}

enum err case_file_locate(const char *path, struct buf *out_folder, struct buf *out_file)
{
    struct stat st;
    const char *slash = strrchr(path, '/');
    if (stat(path, &st) != 0 || S_ISDIR(st.st_mode)) {
        buf_init(out_folder, CASE_PATH_MAX);
        TRY(buf_str(out_folder, path));
        return path_join(out_file, path, "case.ini");
    }
    buf_init(out_folder, CASE_PATH_MAX);
    buf_init(out_file, CASE_PATH_MAX);
    TRY(buf_add(out_folder, slash == NULL ? "." : path,
                slash == NULL   ? 1
                : slash == path ? 1
                                : (size_t)(slash - path)));
    return buf_str(out_file, path);
}

enum err case_file_read(const char *path, const struct profile_path *profiles,
                        struct case_file *out, struct err_msg *e)
{
    struct buf folder = {0};
    struct buf file = {0};
    struct buf text;
    enum err code = case_file_locate(path, &folder, &file);
    buf_init(&text, INI_FILE_BYTES_MAX);
    if (code == ERR_OK) {
        code = file_read(file.data, &text, e);
    }
    if (code == ERR_OK) {
        code = case_file_parse(file.data, folder.data, text.data != NULL ? text.data : "",
                               text.len, profiles, out, e);
    }
    buf_release(&text);
    buf_release(&folder);
    buf_release(&file);
    return code;
}

void case_file_release(struct case_file *c)
{
    for (size_t i = 0; i < c->capture_count; i++) {
        free(c->capture[i].path);
        line_map_release(&c->capture[i].map);
    }
    profile_free(c->machine);
    profile_free(c->drive);
    profile_free(c->cable);
    free(c->capture);
    free(c->swap);
    free(c->told);
    free(c->folder);
    free(c->path);
    ini_file_release(&c->ini);
    memset(c, 0, sizeof *c);
}

const char *case_told_named(const struct case_file *c, const char *section, const char *name,
                            const char *key)
{
    for (size_t i = 0; i < c->told_count; i++) {
        const struct told *t = &c->told[i];
        if (strcmp(t->section, section) == 0 && strcmp(t->name, name) == 0 &&
            strcmp(t->key, key) == 0) {
            return t->value;
        }
    }
    return NULL;
}

const char *case_told(const struct case_file *c, const char *section, const char *key)
{
    for (size_t i = 0; i < c->told_count; i++) {
        if (strcmp(c->told[i].section, section) == 0 && strcmp(c->told[i].key, key) == 0) {
            return c->told[i].value;
        }
    }
    return NULL;
}

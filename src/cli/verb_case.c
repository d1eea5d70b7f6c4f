/* case new, note, show, questions. */
#include "base/file.h"
#include "cli/case_edit.h"
#include "report/lists.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define CASE_BYTES_MAX INI_FILE_BYTES_MAX

enum err edit_begin(struct case_edit *x, const struct args *a, const char *path,
                    struct err_msg *e)
{
    enum err code = case_file_locate(path, &x->folder, &x->file);
    buf_init(&x->text, CASE_BYTES_MAX);
    code = code == ERR_OK ? file_read(x->file.data, &x->text, e) : code;
    code = code == ERR_OK && x->text.data == NULL ? buf_str(&x->text, "") : code;
    return code == ERR_OK ? args_profiles(a, &x->profiles, e) : code;
}

enum err edit_set(struct case_edit *x, const char *section, const char *key, const char *value,
                  struct err_msg *e)
{
    struct buf next;
    enum err code = ERR_OK;
    buf_init(&next, CASE_BYTES_MAX);
    code = case_text_set(x->text.data, section, key, value, &next, e);
    if (code != ERR_OK) {
        buf_release(&next);
        return code;
    }
    buf_release(&x->text);
    x->text = next;
    return ERR_OK;
}

enum err edit_check(const struct case_edit *x, struct case_file *out, struct err_msg *e)
{
    return case_file_parse(x->file.data, x->folder.data, x->text.data, x->text.len, x->profiles,
                           out, e);
}

enum err edit_write(const struct case_edit *x, bool replace, struct err_msg *e)
{
    struct out_file f;
    TRY(out_file_open(&f, x->file.data, replace, e));
    if (fwrite(x->text.data, 1, x->text.len, f.stream) != x->text.len) {
        out_file_abort(&f);
        return err_set(e, ERR_IO, "%s: %s", x->file.data, strerror(errno));
    }
    return out_file_commit(&f, e);
}

void edit_release(struct case_edit *x)
{
    buf_release(&x->folder);
    buf_release(&x->file);
    buf_release(&x->text);
    profile_path_free(x->profiles);
}

static enum err new_text(const struct args *a, struct case_edit *x, struct err_msg *e)
{
    static const struct {
        enum opt opt;
        const char *key;
    } keys[] = {{OPT_TITLE, "title"},
                {OPT_MACHINE, "machine"},
                {OPT_DRIVE, "drive"},
                {OPT_CABLE, "cable"},
                {OPT_DISK, "disk"}};
    struct case_file checked;
    buf_init(&x->text, CASE_BYTES_MAX);
    TRY(buf_str(&x->text, "[case]\n"));
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        if (args_has(a, keys[i].opt)) {
            TRY(edit_set(x, "case", keys[i].key, args_value(a, keys[i].opt), e));
        }
    }
    TRY(args_profiles(a, &x->profiles, e));
    TRY(edit_check(x, &checked, e));
    case_file_release(&checked);
    return ERR_OK;
}

/* What the command line says wrongly is a wrong call, not a wrong file. */
static enum err as_call(enum err code, const struct err_msg *why, struct err_msg *e)
{
    const char *text = strstr(why->text, ": ");
    if (code == ERR_OK) {
        return ERR_OK;
    }
    return err_set(e, code == ERR_FORMAT ? ERR_USAGE : code, "%s",
                   code == ERR_FORMAT && text != NULL ? text + 2 : why->text);
}

enum err verb_case_new(const struct args *a, struct answer *r, struct err_msg *e)
{
    (void)r;
    struct case_edit x = {0};
    struct err_msg why = {0};
    const char *folder = a->word[0];
    bool made = false;
    enum err code = ERR_OK;
    buf_init(&x.folder, CASE_PATH_MAX);
    code = buf_str(&x.folder, folder);
    code = code == ERR_OK ? path_join(&x.file, folder, "case.ini") : code;
    code = code == ERR_OK ? as_call(new_text(a, &x, &why), &why, e) : code;
    if (code == ERR_OK) {
        made = mkdir(folder, 0777) == 0;
        if (!made && errno != EEXIST) {
            code = err_set(e, ERR_CREATE, "%s: %s", folder, strerror(errno));
        }
    }
    code = code == ERR_OK ? edit_write(&x, false, e) : code;
    if (code != ERR_OK && made) {
        (void)rmdir(folder);
    }
    edit_release(&x);
    return code;
}

/* "observed.lamp", "lamp", "swap other-drive.outcome" to section and key, both cut out of
 * `word`. */
static enum err note_place(char *word, const char **section, const char **key,
                           struct err_msg *e)
{
    const struct case_key *known = NULL;
    size_t count = case_keys(&known);
    char *dot = strrchr(word, '.');
    if (dot != NULL) {
        *dot = '\0';
        *section = word;
        *key = dot + 1;
        return ERR_OK;
    }
    *key = word;
    *section = NULL;
    for (size_t i = 0; i < count && *section == NULL; i++) {
        bool plain = !case_section_named(known[i].section);
        *section = plain && strcmp(known[i].key, word) == 0 ? known[i].section : NULL;
    }
    return *section != NULL
               ? ERR_OK
               : err_set(
                     e, ERR_USAGE,
                     "there is no key '%s' without a section's name; whichend case questions "
                     "lists them",
                     word);
}

static enum err note(struct case_edit *x, const char *word, struct err_msg *e)
{
    const char *equals = strchr(word, '=');
    const char *section = NULL;
    const char *key = NULL;
    char *place = NULL;
    enum err code = ERR_OK;
    if (equals == NULL || equals == word) {
        return err_set(e, ERR_USAGE, "a note is KEY=VALUE, not '%s'", word);
    }
    place = strndup(word, (size_t)(equals - word));
    if (place == NULL) {
        return ERR_MEMORY;
    }
    code = note_place(place, &section, &key, e);
    code = code == ERR_OK ? edit_set(x, section, key, equals + 1, e) : code;
    free(place);
    return code;
}

enum err verb_case_note(const struct args *a, struct answer *r, struct err_msg *e)
{
    (void)r;
    struct case_edit x = {0};
    struct case_file checked;
    struct err_msg why = {0};
    enum err code = edit_begin(&x, a, a->word[0], e);
    if (code == ERR_OK) {
        code = edit_check(&x, &checked, e); /* what is there already must be sound */
        if (code == ERR_OK) {
            case_file_release(&checked);
        }
    }
    for (size_t i = 1; i < a->words && code == ERR_OK; i++) {
        code = note(&x, a->word[i], e);
    }
    if (code == ERR_OK) {
        code = edit_check(&x, &checked, &why);
        if (code == ERR_OK) {
            case_file_release(&checked);
        }
        code = as_call(code, &why, e);
    }
    code = code == ERR_OK ? edit_write(&x, true, e) : code;
    edit_release(&x);
    return code;
}

enum err verb_case_show(const struct args *a, struct answer *r, struct err_msg *e)
{
    struct text_style style = style_of(a);
    struct profile_path *path = NULL;
    struct case_file c;
    enum err code = args_profiles(a, &path, e);
    code = code == ERR_OK ? case_file_read(a->word[0], path, &c, e) : code;
    if (code == ERR_OK) {
        code = args_has(a, OPT_JSON) ? report_case_json(&c, &r->out)
                                     : report_case_text(&c, &style, &r->out);
        case_file_release(&c);
    }
    profile_path_free(path);
    return code;
}

enum err verb_case_questions(const struct args *a, struct answer *r, struct err_msg *e)
{
    struct text_style style = style_of(a);
    struct profile_path *path = NULL;
    struct case_file c;
    struct question_rank rank[TOLD_QUESTIONS];
    size_t ranks = 0;
    bool have = a->words > 0;
    enum err code = args_profiles(a, &path, e);
    struct judge_options o = {.profiles = path};
    code = code == ERR_OK && have ? case_file_read(a->word[0], path, &c, e) : code;
    if (code == ERR_OK) {
        code = have ? judge_questions(&c, &o, rank, &ranks, e) : ERR_OK;
        if (code == ERR_OK) {
            const struct case_file *of = have ? &c : NULL;
            code = args_has(a, OPT_JSON)
                       ? report_questions_json(of, rank, ranks, &r->out)
                       : report_questions_text(of, rank, ranks, &style, &r->out);
        }
        if (have) {
            case_file_release(&c);
        }
    }
    profile_path_free(path);
    return code;
}

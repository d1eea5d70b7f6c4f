/* whichend: finds which end of a floppy disk subsystem is at fault. */
#include "cli/cli.h"

#include <errno.h>
#include <malloc.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define OUTPUT_BYTES_MAX ((size_t)256 << 20)
#define MEMORY_KEPT      (8 << 20)

static void on_stop(int signal_number)
{
    (void)signal_number;
    stop_asked = 1;
}

/* A first interrupt asks, a second one ends the program. A closed pipe shows as a failed write.
 */
static void take_signals(void)
{
    struct sigaction a = {0};
    a.sa_handler = on_stop;
    a.sa_flags = (int)SA_RESETHAND | SA_RESTART;
    (void)sigemptyset(&a.sa_mask);
    (void)sigaction(SIGINT, &a, NULL);
    (void)sigaction(SIGTERM, &a, NULL);
    (void)signal(SIGPIPE, SIG_IGN);
    (void)signal(SIGXFSZ, SIG_IGN); /* a file that may not grow is a failed write too */
}

/* What one track needed the next will need too: memory that is free is kept, up to a limit.
 * Given back and fetched anew, its pages cost some 6 % of measuring a whole disk. */
static void keep_memory(void)
{
#ifdef M_TRIM_THRESHOLD
    (void)mallopt(M_TRIM_THRESHOLD, MEMORY_KEPT);
    (void)mallopt(M_MMAP_THRESHOLD, MEMORY_KEPT);
#endif
}

static bool asks_help(const char *word)
{
    return strcmp(word, "help") == 0 || strcmp(word, "--help") == 0 || strcmp(word, "-h") == 0;
}

/* "case" or "profile" alone: what can follow. */
static bool is_group(const char *word)
{
    return strcmp(word, "case") == 0 || strcmp(word, "profile") == 0;
}

static enum err run_unknown(int argc, char *const *argv, struct buf *out, struct err_msg *e)
{
    if (is_group(argv[0])) {
        if (argc > 1 && asks_help(argv[1])) {
            return help_group(argv[0], out);
        }
        return err_set(e, ERR_USAGE, "%s%s%s: see whichend %s --help", argv[0],
                       argc > 1 ? " knows no " : " needs another word", argc > 1 ? argv[1] : "",
                       argv[0]);
    }
    return err_set(e, ERR_USAGE, "there is no verb '%s'; whichend help lists them", argv[0]);
}

static enum err run(int argc, char *const *argv, struct answer *r, struct err_msg *e)
{
    int used = 0;
    const struct verb *v = NULL;
    struct args a;
    bool help = argc > 0 && strcmp(argv[0], "help") == 0;
    if (argc == 0) {
        return err_set(e, ERR_USAGE, "what shall it do? whichend help lists the verbs");
    }
    if (asks_help(argv[0]) && argc == 1) {
        return help_all(&r->out);
    }
    if (strcmp(argv[0], "--version") == 0) {
        return verb_version(NULL, r, e);
    }
    argv += help;
    argc -= help;
    v = verb_find(argc, argv, &used);
    if (v == NULL) {
        return help && argc == 1 && is_group(argv[0]) ? help_group(argv[0], &r->out)
                                                      : run_unknown(argc, argv, &r->out, e);
    }
    if (help) {
        return help_verb(v, &r->out);
    }
    TRY(args_parse(v, argc - used, argv + used, &a, e));
    return args_has(&a, OPT_HELP) ? help_verb(v, &r->out) : v->run(&a, r, e);
}

/* Everything on standard output leaves here, in one piece, after all that can fail has not. */
static enum err print_all(const struct buf *out, struct err_msg *e)
{
    if (out->len > 0 && fwrite(out->data, 1, out->len, stdout) != out->len) {
        return err_set(e, ERR_IO, "standard output: %s", strerror(errno));
    }
    if (fflush(stdout) != 0 || ferror(stdout)) {
        return err_set(e, ERR_IO, "standard output: %s", strerror(errno));
    }
    return ERR_OK;
}

int main(int argc, char **argv)
{
    struct err_msg e = {0};
    struct answer r = {.status = EXIT_SUCCESS};
    enum err code = ERR_OK;
    take_signals();
    keep_memory();
    buf_init(&r.out, OUTPUT_BYTES_MAX);
    code = run(argc - 1, argv + 1, &r, &e);
    if (code == ERR_OK) {
        code = print_all(&r.out, &e);
    }
    buf_release(&r.out);
    if (code != ERR_OK) {
        (void)fprintf(stderr, "whichend: %s\n", e.text[0] != '\0' ? e.text : err_text(code));
        return err_exit_status(code);
    }
    return r.status;
}

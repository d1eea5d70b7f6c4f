/* Runs a program beside models of adapters on a bus of their own, and ends with its status:
 *
 *   umockdev-wrapper usb_bench DEVICE... -- PROGRAM [WORD]...
 *
 * DEVICE is KIND:SERIAL[,WORD]... KIND: plain, core. Words: full-speed, slow=N (core), driver,
 * busy, forbidden, replug=MS, and the faults of faults.h.
 *
 * The same on a bus of the real kernel, where the module vhci-hcd is loaded:
 *
 *   usb_bench_vhci DEVICE... -- PROGRAM [WORD]...
 */
#include "bus.h"
#include "core.h"
#include "faults.h"
#include "plain.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#define DEVICES_MAX 4

struct model {
    char text[256]; /* the serial number points into it */
    struct plain *plain;
    struct core *core;
    struct faults *faults;
};

struct words {
    struct bus_options bus;
    size_t packet;
    int slow;
};

/* The words of bus and model are taken out; what is left is for the faults. */
static bool take_word(struct words *w, const char *word)
{
    struct bus_options *o = &w->bus;
    if (strcmp(word, "full-speed") == 0)
        w->packet = 64;
    else if (strncmp(word, "slow=", 5) == 0)
        w->slow = (int)strtol(word + 5, NULL, 10);
    else if (strcmp(word, "driver") == 0)
        o->driver = true;
    else if (strcmp(word, "busy") == 0)
        o->busy = true;
    else if (strcmp(word, "forbidden") == 0)
        o->forbidden = true;
    else if (strncmp(word, "replug=", 7) == 0)
        o->replug_ms = (int)strtol(word + 7, NULL, 10);
    else
        return false;
    return true;
}

static bool add_model(struct bus *bus, struct model *m, const char *argument)
{
    struct words words = {.packet = 512, .slow = 1};
    char faults[256] = "";
    size_t used = 0;
    snprintf(m->text, sizeof m->text, "%s", argument);
    char *rest = m->text;
    const char *name = strsep(&rest, ",");
    for (const char *word; (word = strsep(&rest, ",")) != NULL;)
        if (!take_word(&words, word))
            used += (size_t)snprintf(faults + used, sizeof faults - used, "%s ", word);
    const char *serial = strchr(name, ':');
    if (serial == NULL || words.slow < 1)
        return false;
    if (strncmp(name, "plain:", 6) == 0)
        m->plain = plain_new(serial + 1, words.packet);
    else if (strncmp(name, "core:", 5) == 0)
        m->core = core_new(serial + 1, words.packet, words.slow);
    else
        return false;
    m->faults = faults_new(m->core != NULL ? core_device(m->core) : plain_device(m->plain));
    return faults_tell(m->faults, faults) && bus_add(bus, faults_device(m->faults), words.bus);
}

static int run_program(char **words)
{
    pid_t child = fork();
    if (child == 0) {
        execvp(words[0], words);
        perror(words[0]);
        _exit(127);
    }
    int status = 0;
    if (child < 0 || waitpid(child, &status, 0) != child)
        return 127;
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

int main(int argc, char **argv)
{
    struct model models[DEVICES_MAX] = {0};
    int n = 0, i = 1;
    signal(SIGHUP, SIG_IGN); /* a pty that is hung up may count as our terminal */
    struct bus *bus = bus_new();
    for (; i < argc && strcmp(argv[i], "--") != 0; i++)
        if (n == DEVICES_MAX || !add_model(bus, &models[n++], argv[i])) {
            fprintf(stderr, "usb_bench: '%s' is no device\n", argv[i]);
            return 64;
        }
    if (i + 1 >= argc || !bus_run(bus))
        return 64;
    int status = run_program(&argv[i + 1]);
    bus_free(bus);
    for (int k = 0; k < n; k++) {
        if (models[k].core != NULL)
            fprintf(stderr, "usb_bench: %s sent %llu falls\n", models[k].text,
                    (unsigned long long)core_sent(models[k].core));
        faults_free(models[k].faults);
        plain_free(models[k].plain);
        core_free(models[k].core);
    }
    return status;
}

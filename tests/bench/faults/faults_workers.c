/* The same job for many scenarios, over several processes. */
#include "faults.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#define WORKERS_MAX 64

static void folder_of(const struct plan *p, int worker, char out[500])
{
    snprintf(out, 500, "%s/%d", p->keep != NULL ? p->keep : p->work, worker);
}

static int work(const struct plan *p, const struct stock *stock, int worker, job *one)
{
    struct record *found = calloc(RECORDS_MAX, sizeof *found);
    char folder[500], name[600];
    int status = 0;
    folder_of(p, worker, folder);
    if (found == NULL || (mkdir(folder, 0777) != 0 && errno != EEXIST))
        return 1;
    snprintf(name, sizeof name, "%s/records", folder);
    FILE *f = fopen(name, "wb");
    if (f == NULL)
        return 1;
    for (int i = worker; i < p->scenarios && status == 0; i += p->workers) {
        if (p->only >= 0 && i != p->only)
            continue;
        size_t count = (size_t)one(p, stock, i, folder, found);
        status = fwrite(found, sizeof *found, count, f) != count;
    }
    return fclose(f) != 0 || status;
}

static enum err collect(const struct plan *p, int worker, struct record **out, size_t *cap,
                        int *count, struct err_msg *e)
{
    char folder[500], name[600];
    struct record one;
    folder_of(p, worker, folder);
    snprintf(name, sizeof name, "%s/records", folder);
    FILE *f = fopen(name, "rb");
    if (f == NULL)
        return err_set(e, ERR_IO, "%s: %s", name, strerror(errno));
    enum err err = ERR_OK;
    while (err == ERR_OK && fread(&one, sizeof one, 1, f) == 1) {
        void *items = *out;
        err = array_grow(&items, cap, (size_t)*count + 1, sizeof one, 1u << 22);
        *out = items;
        if (err == ERR_OK)
            (*out)[(*count)++] = one;
    }
    fclose(f);
    unlink(name);
    return err;
}

static int by_index(const void *a, const void *b)
{
    const struct record *x = a, *y = b;
    return x->index != y->index ? (x->index > y->index) - (x->index < y->index)
                                : (x->kit > y->kit) - (x->kit < y->kit);
}

enum err run_all(const struct plan *p, const struct stock *stock, job *one, struct record **out,
                 int *count, struct err_msg *e)
{
    pid_t child[WORKERS_MAX];
    size_t cap = 0;
    enum err err = ERR_OK;
    *out = NULL;
    *count = 0;
    fflush(stdout);
    for (int w = 0; w < p->workers; w++) {
        child[w] = fork();
        if (child[w] == 0)
            _exit(work(p, stock, w, one));
    }
    for (int w = 0; w < p->workers; w++) {
        int status = 1;
        if (child[w] < 0 || waitpid(child[w], &status, 0) < 0 || status != 0)
            err = err_set(e, ERR_INTERNAL, "worker %d ended with status %d", w, status);
    }
    for (int w = 0; w < p->workers && err == ERR_OK; w++)
        err = collect(p, w, out, &cap, count, e);
    if (err == ERR_OK && *count > 0)
        qsort(*out, (size_t)*count, sizeof **out, by_index);
    return err;
}

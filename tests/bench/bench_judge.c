/* How long a case is weighed, beyond reading its captures: samples, repair reports and bus
 * traces of others.
 *
 * Floor: less than 50 ms of processor time each (issue of the judge).
 */
#include "judge/gather.h"
#include "judge/judge.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>

#define MS_MAX 50.0

/* Processor time: another program's work does not count. */
static double spent_ms(void)
{
    struct rusage use;
    getrusage(RUSAGE_SELF, &use);
    return 1e3 * (double)(use.ru_utime.tv_sec + use.ru_stime.tv_sec) +
           1e-3 * (double)(use.ru_utime.tv_usec + use.ru_stime.tv_usec);
}

struct timed {
    double most, sum, read;
    int cases;
};

static enum err time_case(const char *folder, const struct profile_path *profiles,
                          struct timed *t)
{
    struct err_msg e = {0};
    struct judge_options o = {.profiles = profiles};
    struct verdict *v = calloc(1, sizeof *v);
    struct case_file c;
    struct gathered g;
    double begin, read, all;
    enum err err;
    if (v == NULL)
        return ERR_MEMORY;
    err = case_file_read(folder, profiles, &c, &e);
    if (err != ERR_OK) {
        fprintf(stderr, "%s\n", e.text);
        free(v);
        return err;
    }
    begin = spent_ms();
    err = gather(&c, &o, &g, v, &e);
    read = spent_ms() - begin;
    if (err == ERR_OK) {
        gathered_release(&g);
        begin = spent_ms();
        err = judge_case(&c, &o, v, &e);
        all = spent_ms() - begin;
        t->cases++;
        t->sum += all - read;
        t->read += read;
        t->most = all - read > t->most ? all - read : t->most;
        printf("%7.1f ms read %7.1f ms weighed  %s\n", read, all - read, folder);
        verdict_release(v);
    }
    case_file_release(&c);
    free(v);
    return err;
}

static enum err time_folder(const char *folder, const struct profile_path *profiles,
                            struct timed *t)
{
    DIR *d = opendir(folder);
    struct dirent *x;
    enum err err = ERR_OK;
    if (d == NULL) {
        printf("skipped: %s is not here\n", folder);
        return ERR_OK;
    }
    while (err == ERR_OK && (x = readdir(d)) != NULL) {
        char path[1024];
        FILE *f;
        snprintf(path, sizeof path, "%s/%s/case.ini", folder, x->d_name);
        f = fopen(path, "r");
        if (f == NULL)
            continue;
        fclose(f);
        path[strlen(path) - strlen("/case.ini")] = '\0';
        err = time_case(path, profiles, t);
    }
    closedir(d);
    return err;
}

int main(void)
{
    static const char *const folders[] = {TEST_SOURCE_DIR "/flux-samples",
                                          TEST_SOURCE_DIR "/tests/reports",
                                          TEST_SHARED_DIR "/data/traces"};
    struct err_msg e = {0};
    struct profile_path *profiles = NULL;
    struct timed all = {0};
    enum err err = profile_path_make(TEST_SOURCE_DIR "/profiles", &profiles, &e);
    for (size_t i = 0; i < sizeof folders / sizeof *folders && err == ERR_OK; i++) {
        struct timed t = {0};
        err = time_folder(folders[i], profiles, &t);
        if (t.cases > 0)
            printf("%s: %d cases, read in %.1f ms, weighed in %.1f ms on average, %.1f ms at "
                   "most\n",
                   folders[i], t.cases, t.read / t.cases, t.sum / t.cases, t.most);
        all.most = t.most > all.most ? t.most : all.most;
    }
    profile_path_free(profiles);
    if (all.most > MS_MAX)
        printf("above the floor of %.0f ms\n", MS_MAX);
    return err == ERR_OK && all.most <= MS_MAX ? 0 : 1;
}

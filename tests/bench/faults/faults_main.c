/* fault_bench: scenarios made, judged, counted. See faults.h and DEVELOPERS.md, "The fault
 * bench".
 */
#include "faults.h"

#include <errno.h>
#include <getopt.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static void usage(void)
{
    fputs("fault_bench [--scenarios N] [--kits K] [--seed S] [--kind KIND] [--draw "
          "weight|alike]\n"
          "            [--only SCENARIO --keep FOLDER] [--workers N] [--json] [--detail] "
          "[--cases] [--tilted N] [--tested N [--order 'the judge\'s']] [--limits]\n"
          "kinds:",
          stderr);
    for (int k = 0; k < KINDS; k++)
        fprintf(stderr, " %s", KIND_NAMES[k]);
    fputs(" (else mixed)\n--limits: fail past a wrong-accusation rate of 1 % or a calibration "
          "error "
          "of 0.05\n",
          stderr);
}

enum option_code {
    OPT_SCENARIOS = 256,
    OPT_KITS,
    OPT_SEED,
    OPT_KIND,
    OPT_DRAW,
    OPT_ONLY,
    OPT_KEEP,
    OPT_WORKERS,
    OPT_LIMITS,
    OPT_DETAIL,
    OPT_CASES,
    OPT_JSON,
    OPT_TILTED,
    OPT_TESTED,
    OPT_ORDER,
};

static const struct option OPTIONS[] = {{"scenarios", required_argument, NULL, OPT_SCENARIOS},
                                        {"kits", required_argument, NULL, OPT_KITS},
                                        {"seed", required_argument, NULL, OPT_SEED},
                                        {"kind", required_argument, NULL, OPT_KIND},
                                        {"draw", required_argument, NULL, OPT_DRAW},
                                        {"only", required_argument, NULL, OPT_ONLY},
                                        {"keep", required_argument, NULL, OPT_KEEP},
                                        {"workers", required_argument, NULL, OPT_WORKERS},
                                        {"limits", no_argument, NULL, OPT_LIMITS},
                                        {"detail", no_argument, NULL, OPT_DETAIL},
                                        {"json", no_argument, NULL, OPT_JSON},
                                        {"cases", no_argument, NULL, OPT_CASES},
                                        {"tilted", required_argument, NULL, OPT_TILTED},
                                        {"tested", required_argument, NULL, OPT_TESTED},
                                        {"order", required_argument, NULL, OPT_ORDER},
                                        {NULL, 0, NULL, 0}};

static int kind_of(const char *word)
{
    for (int k = 0; k < KINDS; k++)
        if (strcmp(word, KIND_NAMES[k]) == 0)
            return k;
    return -2;
}

static int order_of(const char *word)
{
    for (int i = 0; i < POLICIES; i++)
        if (strcmp(word, POLICY_NAMES[i]) == 0)
            return i;
    return -1;
}

static bool take(struct plan *p, int opt)
{
    long n = optarg != NULL ? strtol(optarg, NULL, 10) : 0;
    switch (opt) {
    case OPT_SCENARIOS:
        p->scenarios = (int)n;
        return n > 0 && n < 10000000;
    case OPT_KITS:
        p->kits = (int)n;
        return n > 0 && n <= 16;
    case OPT_SEED:
        p->seed = (uint64_t)n;
        return n >= 0;
    case OPT_KIND:
        p->kind = kind_of(optarg);
        return p->kind >= 0;
    case OPT_DRAW:
        p->drawn = strcmp(optarg, "weight") == 0 ? 1 : strcmp(optarg, "alike") == 0 ? 2 : 0;
        return p->drawn != 0;
    case OPT_ONLY:
        p->only = (int)n;
        return n >= 0;
    case OPT_KEEP:
        p->keep = optarg;
        return true;
    case OPT_WORKERS:
        p->workers = (int)n;
        return n > 0 && n <= 64;
    case OPT_LIMITS:
        p->limits = true;
        return true;
    case OPT_DETAIL:
        p->detail = true;
        return true;
    case OPT_ORDER:
        p->order = order_of(optarg);
        return p->order >= 0;
    case OPT_CASES:
        p->cases = true;
        return true;
    case OPT_JSON:
        p->json = true;
        return true;
    case OPT_TILTED:
        p->tilted = (int)n;
        return n > 0 && n < 100000;
    case OPT_TESTED:
        p->tested = (int)n;
        return n > 0 && n < 100000;
    default:
        return false;
    }
}

static bool options(int argc, char **argv, struct plan *p)
{
    int opt;
    *p = (struct plan){.seed = 1,
                       .scenarios = 500,
                       .kits = 2,
                       .workers = 2,
                       .only = -1,
                       .kind = -1,
                       .order = -1};
    while ((opt = getopt_long(argc, argv, "", OPTIONS, NULL)) != -1)
        if (!take(p, opt))
            return false;
    if (p->only >= 0) {
        p->workers = 1;
        p->scenarios = p->only + 1;
    }
    return optind == argc && (p->keep == NULL || p->only >= 0);
}

/* A limit is passed only where chance cannot have done it: one-sided, 95 %. */
static int held(const struct summary *s)
{
    int bad = s->failed > 0;
    if (measure_rate_floor(s->worth[WORTH_WRONG], s->count) > 0.01) {
        printf("past the limit: wrong accusations are more than 1 %%\n");
        bad = 1;
    }
    if (s->calibration > (s->spread > 0.05 ? s->spread : 0.05)) {
        printf("past the limit: calibration error of more than 0.05\n");
        bad = 1;
    }
    return bad;
}

/* Records of all three parts. */
struct found {
    struct record *r, *tilted, *tested;
    int count, tilted_count, tested_count;
};

static enum err report(const struct plan *p, const struct found *f, const struct summary *s)
{
    if (p->json)
        return json_print(f->r, f->count, s, f->tilted, f->tilted_count, f->tested,
                          f->tested_count);
    if (p->cases) {
        cases_print(f->r, f->count);
        cases_print(f->tested, f->tested_count);
    }
    if (p->detail)
        detail_print(f->r, f->count);
    score_print(f->r, f->count, s);
    if (f->tilted_count > 0)
        tilt_print(f->tilted, f->tilted_count);
    if (f->tested_count > 0)
        tests_print(f->tested, f->tested_count);
    return ERR_OK;
}

static enum err find(const struct plan *p, const struct stock *stock, struct found *f,
                     struct err_msg *e)
{
    struct plan part = *p;
    TRY(run_all(p, stock, run_kits, &f->r, &f->count, e));
    part.scenarios = p->tilted;
    if (p->tilted > 0)
        TRY(run_all(&part, stock, run_tilted, &f->tilted, &f->tilted_count, e));
    part.scenarios = p->tested;
    return p->tested > 0 ? run_all(&part, stock, run_tests, &f->tested, &f->tested_count, e)
                         : ERR_OK;
}

static int failures(const struct record *r, int count)
{
    int n = 0;
    for (int i = 0; i < count; i++) {
        if (r[i].failed)
            fprintf(stderr, "failed: scenario %d: %s\n", r[i].index, r[i].why);
        n += r[i].failed;
    }
    return n;
}

static int bench(const struct plan *p)
{
    struct stock *stock = calloc(1, sizeof *stock);
    struct err_msg e = {.code = ERR_OK};
    struct found f = {0};
    struct summary s = {0};
    enum err err = stock != NULL ? stock_open(stock, &e) : ERR_MEMORY;
    if (err == ERR_OK)
        err = find(p, stock, &f, &e);
    if (err == ERR_OK)
        err = score(f.r, f.count, &s);
    if (err == ERR_OK)
        err = report(p, &f, &s);
    if (err != ERR_OK)
        fprintf(stderr, "fault_bench: %s\n", e.text);
    int failed = failures(f.r, f.count) + failures(f.tilted, f.tilted_count) +
                 failures(f.tested, f.tested_count);
    free(f.r);
    free(f.tilted);
    free(f.tested);
    if (stock != NULL)
        stock_close(stock);
    free(stock);
    return err != ERR_OK || failed > 0 || (p->limits && held(&s));
}

/* What the workers left behind. */
static void sweep(const char *folder)
{
    char command[600];
    snprintf(command, sizeof command, "rm -rf '%s'", folder);
    if (system(command) != 0)
        fprintf(stderr, "%s could not be removed\n", folder);
}

int main(int argc, char **argv)
{
    char work[] = TEST_BINARY_DIR "/fault_bench.XXXXXX";
    struct plan p;
    if (!options(argc, argv, &p)) {
        usage();
        return 64;
    }
    if (!measures_agree())
        return 1;
    if (p.keep != NULL && mkdir(p.keep, 0777) != 0 && errno != EEXIST) {
        perror(p.keep);
        return 73;
    }
    p.work = mkdtemp(work);
    if (p.work == NULL) {
        perror(work);
        return 73;
    }
    int status = bench(&p);
    sweep(p.work);
    return status;
}

/* How fast flux is read and measured, on one core, and in how much memory; beside it, in the
 * same run and on the same machine, what reading the same bytes costs zcat(1), memcpy(3) and
 * sigrok-cli 0.7.2 (Debian's; a general tool for logic captures, which turns edges back into a
 * sample for every tick).
 *
 * The disk is invented: 80 cylinders of 2 sides, 9 sectors of 512 bytes in MFM at 250 kbit/s, 5
 * turns of each track, 80 ns of jitter, sampled at 40 MS/s; the spindle is even.
 *
 * Aims, printed beside: 100 million transitions a second in the separator, the whole disk in a
 * second and 64 MB, VCD text in 1.5 times zcat's time. Fails above the memory and the time of
 * zcat alone: the rest depends on the machine.
 */
#include "capture/capture.h"
#include "signal/flux_private.h"
#include "unit/flux_make.h"

#include <fcntl.h>
#include <stdio.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#define CYLINDERS     80
#define VCD_CYLINDERS 4
#define TURNS         5
#define TURN_CELLS    100000
#define TURN_TICKS    8000000 /* 200 ms of 25 ns */
#define PULSE_TICKS   16
#define INDEX_TICKS   120000 /* 3 ms */
#define ARGUMENTS_MAX 8
#define TICK_PS       25000
#define STAY_TICKS    ((int64_t)TURN_TICKS * TURNS)
#define QUIET_TICKS   2000 /* about a change of side or cylinder */
#define MEMORY_KB     (64 << 10)
#define ZCAT_RATIO    1.5
#define DISK          TEST_BINARY_DIR "/bench_flux.tmp.wec"
#define TEXT          TEST_BINARY_DIR "/bench_flux.tmp.vcd"
#define PACKED        TEST_BINARY_DIR "/bench_flux.tmp.vcd.gz"

static double own_s(void)
{
    struct rusage use;
    getrusage(RUSAGE_SELF, &use);
    return (double)(use.ru_utime.tv_sec + use.ru_stime.tv_sec) +
           1e-6 * (double)(use.ru_utime.tv_usec + use.ru_stime.tv_usec);
}

/* ---- the disk */

static void track_make(uint8_t cylinder, uint8_t side, struct dice *d, struct flux_made *out)
{
    struct layout l = {.fm = false,
                       .sectors = 9,
                       .size_code = 2,
                       .gap3 = 80,
                       .cylinder = cylinder,
                       .side = side,
                       .index_mark = true,
                       .rewritten = false};
    struct track_made t = {0};
    const struct play p = {.cell_ns = 2000, .speed = 1, .jitter_ns = 80};
    make_truth(&t, &l, d);
    for (int turn = 0; turn < TURNS; turn++)
        make_turn(&t, &l, d, TURN_CELLS);
    make_flux(&t.m, &p, d, out);
    make_release(&t);
}

struct drawn {
    struct capture_writer *w;
    struct err_msg e;
    int64_t transitions;
    bool bad;
};
static void put(struct drawn *x, int64_t tick, enum line line, enum level level)
{
    x->bad = x->bad || capture_writer_edge(x->w, tick, line, level, &x->e) != ERR_OK;
}

/* One side's turns from `start` on, INDEX at each turn's begin. */
static void draw_track(struct drawn *x, const struct flux_made *f, int64_t start)
{
    int64_t index = start + QUIET_TICKS / 2;
    bool low = false;
    int64_t ps = 0;
    for (size_t i = 0; i < f->count; i++, ps += f->interval_ps[i - 1]) {
        int64_t tick = start + QUIET_TICKS + ps / TICK_PS;
        if (tick > start + STAY_TICKS - QUIET_TICKS)
            break;
        if (index <= tick) { /* between two pulses of RDATA */
            put(x, index, LINE_INDEX, low ? LEVEL_HIGH : LEVEL_LOW);
            index += low ? TURN_TICKS - INDEX_TICKS : INDEX_TICKS;
            low = !low;
        }
        put(x, tick, LINE_RDATA, LEVEL_LOW);
        int64_t up = tick + PULSE_TICKS;
        put(x, index > tick && index < up ? index : up, LINE_RDATA, LEVEL_HIGH);
        x->transitions++;
    }
}

static int64_t draw_disk(const char *path, enum capture_format format, int cylinders)
{
    static const enum line HIGH[] = {LINE_INDEX, LINE_DIR, LINE_STEP, LINE_SIDE, LINE_RDATA};
    struct capture_info info = {.tick = {25000000, 1}, .sample_fs = 25000000};
    struct drawn x = {0};
    struct dice d = {4};
    int64_t now = 0;
    for (size_t i = 0; i < sizeof HIGH / sizeof HIGH[0]; i++)
        info.lines |= LINE_BIT(HIGH[i]);
    info.lines |= LINE_BIT(LINE_SELECT0) | LINE_BIT(LINE_MOTOR) | LINE_BIT(LINE_TRK00);
    if (capture_writer_open(path, format, &info, true, &x.w, &x.e) != ERR_OK)
        return -1;
    for (size_t i = 0; i < sizeof HIGH / sizeof HIGH[0]; i++)
        put(&x, 0, HIGH[i], HIGH[i] == LINE_DIR ? LEVEL_LOW : LEVEL_HIGH);
    put(&x, 0, LINE_SELECT0, LEVEL_LOW);
    put(&x, 0, LINE_MOTOR, LEVEL_LOW);
    put(&x, 0, LINE_TRK00, LEVEL_LOW);
    for (int c = 0; c < cylinders && !x.bad; c++) {
        for (int side = 0; side < 2; side++) {
            struct flux_made f;
            put(&x, now + 200, LINE_SIDE, side == 0 ? LEVEL_HIGH : LEVEL_LOW);
            track_make((uint8_t)c, (uint8_t)side, &d, &f);
            draw_track(&x, &f, now);
            free(f.interval_ps);
            now += STAY_TICKS;
        }
        put(&x, now, LINE_STEP, LEVEL_LOW);
        put(&x, now + 80, LINE_STEP, LEVEL_HIGH);
        if (c == 0)
            put(&x, now + 100, LINE_TRK00, LEVEL_HIGH);
    }
    x.bad = x.bad || capture_writer_finish(x.w, now + QUIET_TICKS, &x.e) != ERR_OK;
    if (x.bad)
        fprintf(stderr, "%s: %s\n", path, x.e.text);
    return x.bad ? -1 : x.transitions;
}

/* ---- what is timed */

struct cost {
    double s; /* of processor */
    long kb;  /* most memory */
    int status;
};

static void execute(const char *const *argv)
{
    char *copy[ARGUMENTS_MAX + 1] = {NULL};
    for (int i = 0; i < ARGUMENTS_MAX && argv[i] != NULL; i++)
        copy[i] = strdup(argv[i]);
    execvp(copy[0], copy);
}

/* A program, its output thrown away. */
static struct cost child(const char *const *argv)
{
    struct cost c = {-1, 0, -1};
    struct rusage use;
    pid_t pid = fork();
    if (pid == 0) {
        int null = open("/dev/null", O_WRONLY);
        if (null >= 0 && dup2(null, STDOUT_FILENO) >= 0)
            execute(argv);
        _exit(127);
    }
    if (pid < 0 || wait4(pid, &c.status, 0, &use) != pid)
        return c;
    c.s = (double)(use.ru_utime.tv_sec + use.ru_stime.tv_sec) +
          1e-6 * (double)(use.ru_utime.tv_usec + use.ru_stime.tv_usec);
    c.kb = use.ru_maxrss;
    return c;
}

static struct cost child_best(const char *const *argv)
{
    struct cost best = child(argv);
    for (int i = 0; i < 2; i++) {
        struct cost once = child(argv);
        best = once.s < best.s ? once : best;
    }
    return best;
}

/* Clock and cells alone. */
static bool separate(const struct flux *f)
{
    struct code code;
    struct cells c;
    code_find(f, &code);
    if (cells_recover(f, &code, &c) != ERR_OK)
        return false;
    cells_constrain(&c);
    cells_release(&c);
    return true;
}
/* The same with marks, fields and all figures of quality. */
static bool decode(const struct flux *f)
{
    const struct flux_options o = {0};
    struct flux_read r;
    if (flux_decode(f, &o, &r) != ERR_OK)
        return false;
    flux_read_release(&r);
    return true;
}

/* Millions of transitions a second; negative: failed. */
static double transitions_a_second(bool (*work)(const struct flux *))
{
    struct dice d = {9};
    struct flux_made f;
    double best = 1e9;
    bool good = true;
    track_make(40, 0, &d, &f);
    const struct flux flux = {0, f.interval_ps, f.count};
    for (int i = 0; i < 15 && good; i++) {
        double start = own_s();
        good = work(&flux);
        best = fmin(best, own_s() - start);
    }
    free(f.interval_ps);
    return good ? (double)f.count / 1e6 / best : -1;
}

/* Processor time of reading a capture to its end. */
static double reading(const char *path, int times)
{
    double best = -1;
    for (int i = 0; i < times; i++) {
        struct capture *c = NULL;
        struct chunk k = {.last = false};
        struct err_msg e = {.code = ERR_OK};
        double start = own_s();
        if (capture_open(path, NULL, &c, &e) == ERR_OK)
            while (!k.last && capture_next(c, &k, &e) == ERR_OK)
                ;
        capture_close(c);
        if (e.code != ERR_OK)
            return -1;
        double once = own_s() - start;
        best = best < 0 || once < best ? once : best;
    }
    return best;
}

/* The bytes of a file once more in memory. */
static double copying(const char *path, size_t bytes)
{
    char *a = malloc(bytes);
    char *b = malloc(bytes);
    double best = -1;
    FILE *f = fopen(path, "rb");
    if (a != NULL && b != NULL && f != NULL && fread(a, 1, bytes, f) == bytes) {
        for (int i = 0; i < 5; i++) {
            double start = own_s();
            memcpy(b, a, bytes);
            double once = own_s() - start + (b[bytes / 2] == 1 ? 1e-12 : 0);
            best = best < 0 || once < best ? once : best;
        }
    }
    if (f != NULL)
        fclose(f);
    free(a);
    free(b);
    return best;
}

static double megabytes(const char *path)
{
    struct stat st;
    return stat(path, &st) == 0 ? (double)st.st_size / 1e6 : -1;
}

static void row(const char *what, double mb, struct cost c)
{
    printf("  %-34s %8.3f s %8.0f MB/s", what, c.s, mb / c.s);
    if (c.kb > 0)
        printf(" %8.1f MB of memory", (double)c.kb / 1024);
    printf("\n");
}

static bool disk(const char *program)
{
    const char *measure[] = {program, "measure", "--json", DISK, NULL};
    double start = own_s();
    int64_t transitions = draw_disk(DISK, CAPTURE_WEC, CYLINDERS);
    if (transitions < 0)
        return false;
    double mb = megabytes(DISK);
    printf("whole disk: %d tracks of %d turns, %.1f million transitions, %.1f MB of .wec "
           "(made in %.0f s)\n",
           2 * CYLINDERS, TURNS, (double)transitions / 1e6, mb, own_s() - start);
    row("reading .wec", mb, (struct cost){reading(DISK, 3), 0, 0});
    row("copying its bytes in memory", mb,
        (struct cost){copying(DISK, (size_t)(mb * 1e6)), 0, 0});
    struct cost c = child_best(measure);
    row("whichend measure", mb, c);
    printf("  measure: %.1f million transitions a second (aim: the disk in 1 s, %d MB)\n",
           (double)transitions / 1e6 / c.s, MEMORY_KB >> 10);
    unlink(DISK);
    return c.status == 0 && c.kb <= MEMORY_KB;
}

static bool text(const char *program)
{
    const char *zcat[] = {"zcat", PACKED, NULL};
    const char *gzip[] = {"gzip", "-kf", TEXT, NULL};
    const char *measure[] = {program, "measure", "--json", TEXT, NULL};
    const char *other[] = {"sigrok-cli", "-I", "vcd", "-i", TEXT, "-O", "binary", NULL};
    if (draw_disk(TEXT, CAPTURE_VCD, VCD_CYLINDERS) < 0 || child(gzip).status != 0)
        return false;
    double mb = megabytes(TEXT);
    printf("VCD: the first %d cylinders, %.0f MB of text, %.0f MB packed\n", VCD_CYLINDERS, mb,
           megabytes(PACKED));
    row("reading text", mb, (struct cost){reading(TEXT, 5), 0, 0});
    struct cost packed = {reading(PACKED, 3), 0, 0};
    row("reading packed text", mb, packed);
    struct cost z = child_best(zcat);
    row("zcat", mb, z);
    row("copying the text in memory", mb,
        (struct cost){copying(TEXT, (size_t)(mb * 1e6)), 0, 0});
    row("whichend measure", mb, child_best(measure));
    struct cost s = child(other);
    if (WIFEXITED(s.status) && WEXITSTATUS(s.status) == 0)
        row("sigrok-cli", mb, s);
    else
        printf("  sigrok-cli: not compared, it is not installed or does not read this\n");
    printf("  packed text takes %.2f times zcat's time (at most %.1f)\n", packed.s / z.s,
           ZCAT_RATIO);
    unlink(TEXT);
    unlink(PACKED);
    return packed.s > 0 && z.status == 0 && packed.s <= ZCAT_RATIO * z.s;
}

int main(int argc, char **argv)
{
    if (argc < 2) {
        fprintf(stderr, "usage: bench_flux WHICHEND\n");
        return 64;
    }
    double separated = transitions_a_second(separate);
    double decoded = transitions_a_second(decode);
    printf("separation (clock and cells): %.1f million transitions a second (aim: 100)\n"
           "the same with marks, fields and quality: %.1f\n",
           separated, decoded);
    bool disk_ok = disk(argv[1]);
    bool text_ok = text(argv[1]);
    return separated > 0 && decoded > 0 && disk_ok && text_ok ? 0 : 1;
}

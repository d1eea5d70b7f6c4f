/* How fast VCD text is read, on one core, beside zcat(1) of the same text, and in how much
 * memory.
 *
 * Floors: 150 MB/s of plain text; a gzip file in no more than 1.5 times what zcat takes; 32 MB
 * in all.
 */
#include "capture/capture.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

#define TEXT_BYTES    (128u << 20)
#define FLOOR_MB_S    150.0
#define ZCAT_RATIO    1.5
#define MEMORY_KB_MAX (32 << 10)
#define PLAIN         TEST_BINARY_DIR "/bench_vcd.tmp.vcd"
#define PACKED        TEST_BINARY_DIR "/bench_vcd.tmp.vcd.gz"

/* Processor time of this program or of those that it started: another program's work does not
 * count. */
static double spent_s(int who)
{
    struct rusage use;
    getrusage(who, &use);
    return (double)(use.ru_utime.tv_sec + use.ru_stime.tv_sec) +
           1e-6 * (double)(use.ru_utime.tv_usec + use.ru_stime.tv_usec);
}

/* Twelve lines, of which RDATA carries MFM-like pulses: ticks of 10 ns, cells of 2 us, jitter.
 */
static int make_text(const char *path)
{
    static const char *const LINES[] = {"INDEX", "SELECT0", "MOTOR", "DIR",   "STEP", "WDATA",
                                        "WGATE", "TRK00",   "WPROT", "RDATA", "SIDE", "READY"};
    static const long CELLS[] = {400, 400, 400, 600, 800, 400, 600, 400};
    FILE *f = fopen(path, "w");
    unsigned noise = 1;
    long t = 0;
    if (f == NULL)
        return -1;
    fputs("$timescale 10 ns $end\n$scope module bus $end\n", f);
    for (size_t i = 0; i < sizeof LINES / sizeof LINES[0]; i++)
        fprintf(f, "$var wire 1 %c %s $end\n", (int)('!' + i), LINES[i]);
    fputs("$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n", f);
    for (size_t i = 0; i < sizeof LINES / sizeof LINES[0]; i++)
        fprintf(f, "1%c\n", (int)('!' + i));
    fputs("$end\n", f);
    while (ftell(f) < (long)TEXT_BYTES) {
        for (int i = 0; i < 10000; i++) {
            noise = noise * 1664525u + 1013904223u;
            t += CELLS[noise >> 29] + (long)(noise >> 12 & 15) - 8;
            fprintf(f, "#%ld\n0*\n#%ld\n1*\n", t, t + 42 + (long)(noise >> 20 & 1));
        }
    }
    return fclose(f);
}

/* Seconds to read a capture to its end; below 0 where that fails. */
static double read_all(const char *path, size_t *edges)
{
    struct capture *c = NULL;
    struct chunk k = {.last = false};
    struct err_msg e = {.code = ERR_OK};
    double start = spent_s(RUSAGE_SELF);
    *edges = 0;
    if (capture_open(path, NULL, &c, &e) == ERR_OK)
        while (!k.last && capture_next(c, &k, &e) == ERR_OK)
            *edges += k.count;
    capture_close(c);
    if (e.code != ERR_OK)
        fprintf(stderr, "%s\n", e.text);
    return e.code == ERR_OK ? spent_s(RUSAGE_SELF) - start : -1.0;
}

/* The best of a few, for other work on the machine only ever slows. */
static double best_of(const char *path, size_t *edges)
{
    double best = read_all(path, edges);
    for (int i = 0; i < 4 && best > 0.0; i++) {
        double once = read_all(path, edges);
        best = once < best ? once : best;
    }
    return best;
}

static double zcat_seconds(void)
{
    double best = -1.0;
    for (int i = 0; i < 3; i++) {
        double start = spent_s(RUSAGE_CHILDREN);
        if (system("zcat '" PACKED "' >/dev/null") != 0)
            return -1.0;
        double once = spent_s(RUSAGE_CHILDREN) - start;
        best = best < 0.0 || once < best ? once : best;
    }
    return best;
}

int main(void)
{
    size_t edges = 0;
    size_t packed_edges = 0;
    struct rusage use;
    int bad = 0;
    if (make_text(PLAIN) != 0)
        return 1;
    double plain = best_of(PLAIN, &edges);
    getrusage(RUSAGE_SELF, &use);
    double mb_s = (double)TEXT_BYTES / 1e6 / plain;
    printf("plain: %.0f MB/s of text, %.1f million edges a second, %ld kB of memory\n", mb_s,
           (double)edges / 1e6 / plain, use.ru_maxrss);
    bad |= plain <= 0.0 || mb_s < FLOOR_MB_S || use.ru_maxrss > MEMORY_KB_MAX;

    if (system("gzip -c '" PLAIN "' >'" PACKED "'") != 0)
        return 1;
    double packed = best_of(PACKED, &packed_edges);
    double zcat = zcat_seconds();
    printf("gzip: %.0f MB/s of text; zcat %.0f MB/s; %.2f times zcat's time\n",
           (double)TEXT_BYTES / 1e6 / packed, (double)TEXT_BYTES / 1e6 / zcat, packed / zcat);
    bad |= packed <= 0.0 || zcat <= 0.0 || packed > ZCAT_RATIO * zcat || packed_edges != edges;
    unlink(PLAIN);
    unlink(PACKED);
    return bad;
}

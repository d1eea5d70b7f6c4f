/* Holds a recording of core.h's flux against what its model sent, to the tick.
 *
 *   flux_check CAPTURE      prints "FALLS falls, HOLES holes"; a fall that was not sent, or
 * that is missing where the capture does not say "not recorded", is an error
 */
#include "capture/capture.h"
#include "core.h"

#include <inttypes.h>
#include <stdio.h>

struct check {
    uint32_t flux;
    int64_t sent;  /* tick of the next fall that was sent, counted from the first one */
    int64_t first; /* of the capture; -1: none yet */
    uint8_t level;
    uint64_t falls, holes;
};

static const char *fall(struct check *c, int64_t tick)
{
    if (c->first < 0)
        c->first = tick;
    int64_t at = tick - c->first;
    if (c->sent != at)
        return c->sent < at ? "a fall is missing" : "a fall was never sent";
    c->sent += core_flux_next(&c->flux);
    c->falls++;
    return NULL;
}

static const char *edge(struct check *c, int64_t tick, enum level level)
{
    uint8_t before = c->level;
    c->level = (uint8_t)level;
    if (level == LEVEL_UNKNOWN) {
        c->holes++;
        return c->first >= 0 && c->sent < tick - c->first ? "a fall is missing before a hole"
                                                          : NULL;
    }
    /* What fell in the hole, and a pulse that was half over as it ended. */
    while (before == LEVEL_UNKNOWN && c->first >= 0 &&
           c->sent < tick - c->first + (level == LEVEL_LOW))
        c->sent += core_flux_next(&c->flux);
    return level == LEVEL_LOW && before == LEVEL_HIGH ? fall(c, tick) : NULL;
}

int main(int argc, char **argv)
{
    struct err_msg e = {0};
    struct capture *in = NULL;
    struct chunk k = {.last = false};
    struct check c = {.flux = CORE_FLUX_SEED, .first = -1, .level = LEVEL_UNKNOWN};
    if (argc != 2 || capture_open(argv[1], NULL, &in, &e) != ERR_OK) {
        fprintf(stderr, "%s\n", e.text);
        return 1;
    }
    (void)core_flux_next(&c.flux); /* to the first fall */
    const char *wrong = NULL;
    while (!k.last && wrong == NULL && capture_next(in, &k, &e) == ERR_OK)
        for (size_t i = 0; i < k.count && wrong == NULL; i++)
            if (edge_line(k.edge[i]) == LINE_RDATA) {
                wrong = edge(&c, edge_tick(&k, i), edge_level(k.edge[i]));
                if (wrong != NULL)
                    fprintf(stderr, "%s: %s: %s at tick %" PRId64 ", fall %" PRIu64 "\n",
                            argv[0], argv[1], wrong, edge_tick(&k, i), c.falls);
            }
    if (e.code != ERR_OK)
        fprintf(stderr, "%s\n", e.text);
    capture_close(in);
    printf("%" PRIu64 " falls, %" PRIu64 " holes\n", c.falls, c.holes);
    return wrong != NULL || e.code != ERR_OK;
}

/* Turn time without an index: the same identifier comes round again. */
#include "signal/signal.h"

#define TURN_MIN_NS 150000000
#define TURN_MAX_NS 230000000

static bool same_identifier(const struct sector_read *a, const struct sector_read *b)
{
    return a->id_good && b->id_good && a->cylinder == b->cylinder && a->side == b->side &&
           a->sector == b->sector && a->size_code == b->size_code && a->encoding == b->encoding;
}

size_t rotation_from_sectors(const struct flux_read *r, int64_t *period_ns, size_t max)
{
    size_t n = 0;
    for (size_t i = 0; i < r->sector_count && n < max; i++) {
        for (size_t j = i + 1; j < r->sector_count; j++) {
            int64_t apart = r->sector[j].id_ns - r->sector[i].id_ns;
            if (apart > TURN_MAX_NS) {
                break;
            }
            if (apart >= TURN_MIN_NS && same_identifier(&r->sector[i], &r->sector[j])) {
                period_ns[n++] = apart;
                break;
            }
        }
    }
    return n;
}

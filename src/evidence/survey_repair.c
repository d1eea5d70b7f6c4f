/* Fields that no turn has given yet: their cells are kept and put together turn by turn. */
#include "evidence/survey_private.h"

/* Cells of all such fields together: some 2500 of 512 bytes. Whole disks in that state hold
 * nothing that a few fields more would save. */
#define SUMS_BYTES_MAX ((size_t)24 << 20)

static void sum_drop(struct track_store *t, struct raw_sector *s)
{
    t->sum_bytes -= field_sum_size(&s->sum);
    field_sum_release(&s->sum);
}

enum err repair_turn(struct track_store *t, struct raw_sector *s, const struct sector_read *r)
{
    struct field_repair repair;
    if (t->listener != NULL) {
        return ERR_OK;
    }
    if (s->s.data >= FIELD_REPAIRED || s->s.twice) {
        sum_drop(t, s);
        return ERR_OK;
    }
    if (r->quality == NULL || !r->id_good) {
        return ERR_OK;
    }
    if (s->sum.cells == 0 && t->sum_bytes + r->cells > SUMS_BYTES_MAX) {
        t->sums_full = true;
        return ERR_OK;
    }
    t->sum_bytes -= field_sum_size(&s->sum);
    enum err e = field_sum_add(&s->sum, r);
    t->sum_bytes += field_sum_size(&s->sum);
    TRY(e);
    TRY(field_sum_repair(&s->sum, NULL, &repair));
    if (repair.agreed) {
        s->s.data = FIELD_REPAIRED;
        s->s.deleted = r->deleted;
        s->s.changed = repair.changed;
        s->s.odds_false = repair.odds_false;
        sum_drop(t, s);
    }
    return ERR_OK;
}

enum err repair_written(struct track_store *t, int32_t epoch, int32_t side)
{
    for (size_t i = 0; t->sum_bytes > 0 && i < t->count; i++) {
        struct raw_track *k = &t->track[i];
        for (size_t n = 0; k->spot.epoch == epoch && k->spot.side == side && n < k->count;
             n++) {
            sum_drop(t, &k->sector[n]);
        }
    }
    return t->listener != NULL ? t->listener->written(t->listener->ctx, epoch, side) : ERR_OK;
}

void repair_end(struct track_store *t)
{
    for (size_t i = 0; i < t->count; i++) {
        for (size_t n = 0; n < t->track[i].count; n++) {
            sum_drop(t, &t->track[i].sector[n]);
        }
    }
}

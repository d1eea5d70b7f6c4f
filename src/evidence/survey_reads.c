/* Read pulses in a row, taken at once: what each of them would ask of the rest of the survey is
 * asked for all. */
#include "evidence/survey_private.h"

#define ROW_MIN 32  /* fewer are not worth it */
#define BLOCK   128 /* looked at together */

static bool is_read(packed_edge e)
{
    return edge_line(e) == LINE_RDATA && edge_level(e) <= LEVEL_HIGH;
}

/* Edges of RDATA from edge i of the chunk on, each turning it over, and when each comes, by the
 * low 32 bits of whole ns a tick. Returns how many there are. */
static size_t row_find(const struct chunk *c, size_t i, uint32_t tick_ns, int32_t *after_ns)
{
    const packed_edge *edge = c->edge + i;
    const size_t most = c->count - i < READS_MAX ? c->count - i : READS_MAX;
    const uint32_t first = (uint32_t)(edge[0] >> 8);
    size_t n = 1;
    if (!is_read(edge[0])) {
        return 0;
    }
    after_ns[0] = 0;
    for (; n + BLOCK <= most; n += BLOCK) {
        packed_edge others = 0;
        for (size_t k = n; k < n + BLOCK; k++) {
            others |= edge[k] ^ edge[k - 1] ^ 1;
            after_ns[k] = (int32_t)(((uint32_t)(edge[k] >> 8) - first) * tick_ns);
        }
        if ((uint8_t)others != 0) {
            break;
        }
    }
    for (; n < most && (uint8_t)(edge[n] ^ edge[n - 1]) == 1; n++) {
        after_ns[n] = (int32_t)(((uint32_t)(edge[n] >> 8) - first) * tick_ns);
    }
    return n;
}

/* Into r->row; false: there is none that is worth it, or its times do not fit 32 bits. */
static bool row_set(struct survey_run *r, const struct chunk *c, size_t i)
{
    const struct tick_scale scale = r->ns_scale;
    size_t n = row_find(c, i, (uint32_t)scale.num, r->row_after_ns);
    if (n < ROW_MIN || (uint64_t)edge_tick(c, i + n - 1) > scale.most) {
        return false;
    }
    const int64_t first_ns = tick_scaled(&scale, edge_tick(c, i));
    if (tick_scaled(&scale, edge_tick(c, i + n - 1)) - first_ns > INT32_MAX) {
        return false;
    }
    for (size_t k = 1; k < n && scale.den != 1; k++) {
        r->row_after_ns[k] = (int32_t)(tick_scaled(&scale, edge_tick(c, i + k)) - first_ns);
    }
    r->row = (struct read_row){first_ns, r->row_after_ns, n, edge_level(c->edge[i])};
    return true;
}

static enum err others_told(struct survey_run *r, const struct chunk *c, size_t i)
{
    const size_t n = r->row.count;
    for (size_t k = 0; k < n && !r->grid.found; k++) {
        grid_edge(&r->grid, edge_tick(c, i + k), true);
    }
    r->grid.last_tick = edge_tick(c, i + n - 1);
    for (size_t k = 0; k < n && r->o->edges_out != NULL; k++) {
        TRY(tap_edges_add(r->o->edges_out, r->row.ns + r->row.after_ns[k], LINE_RDATA,
                          edge_level(c->edge[i + k])));
    }
    return ERR_OK;
}

enum err survey_reads(struct survey_run *r, const struct chunk *c, size_t i, size_t *out_taken)
{
    *out_taken = 0;
    if (!r->started || !r->visit.rdata_known ||
        edge_level(c->edge[i]) == r->level[LINE_RDATA] || !row_set(r, c, i) ||
        !bus_tracker_reads(r->tracker, &r->row)) {
        return ERR_OK;
    }
    const size_t n = r->row.count;
    TRY(others_told(r, c, i));
    r->now_ns = r->row.ns + r->row.after_ns[n - 1];
    r->level[LINE_RDATA] = edge_level(c->edge[i + n - 1]);
    r->out->edges += (int64_t)n;
    *out_taken = n;
    TRY(visit_reads(r, c, i));
    return figures_reads(r, c, i);
}

/* Read pulses in a row, taken at once: what each of them would ask of the rest of the survey is
 * asked for all. */
#include "evidence/survey_private.h"

#define ROW_MIN 32  /* fewer are not worth it */
#define BLOCK   128 /* looked at together */

static bool is_read(packed_edge e)
{
    return edge_line(e) == LINE_RDATA && edge_level(e) <= LEVEL_HIGH;
}

/* Edges of RDATA from edge i of the chunk on, each turning it over. */
static size_t row_length(const struct chunk *c, size_t i)
{
    const packed_edge *edge = c->edge + i;
    const size_t most = c->count - i < READS_MAX ? c->count - i : READS_MAX;
    size_t n = 1;
    if (!is_read(edge[0])) {
        return 0;
    }
    for (; n + BLOCK <= most; n += BLOCK) {
        packed_edge others = 0;
        for (size_t k = n; k < n + BLOCK; k++) {
            others |= edge[k] ^ edge[k - 1] ^ 1;
        }
        if ((uint8_t)others != 0) {
            break;
        }
    }
    while (n < most && (uint8_t)(edge[n] ^ edge[n - 1]) == 1) {
        n++;
    }
    return n;
}

/* When each comes, behind the first. false: the row is too long for that. */
static bool row_times(struct survey_run *r, const struct chunk *c, size_t i, size_t n)
{
    const struct tick_scale scale = r->ns_scale;
    const packed_edge *edge = c->edge + i;
    const int64_t first_ns = tick_scaled(&scale, edge_tick(c, i));
    if (tick_scaled(&scale, edge_tick(c, i + n - 1)) - first_ns > INT32_MAX) {
        return false;
    }
    r->row = (struct read_row){first_ns, r->row_after_ns, n, edge_level(edge[0])};
    if (scale.den == 1) { /* by 32 bits, in which the products fit */
        const int32_t num = (int32_t)scale.num;
        const int32_t first = (int32_t)(edge[0] >> 8);
        for (size_t k = 0; k < n; k++) {
            r->row_after_ns[k] =
                (int32_t)((uint32_t)((int32_t)(edge[k] >> 8) - first) * (uint32_t)num);
        }
        return true;
    }
    for (size_t k = 0; k < n; k++) {
        r->row_after_ns[k] = (int32_t)(tick_scaled(&scale, edge_tick(c, i + k)) - first_ns);
    }
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
    size_t n = row_length(c, i);
    *out_taken = 0;
    if (n < ROW_MIN || !r->started || !r->visit.rdata_known ||
        edge_level(c->edge[i]) == r->level[LINE_RDATA] ||
        (uint64_t)edge_tick(c, i + n - 1) > r->ns_scale.most) {
        return ERR_OK;
    }
    if (!row_times(r, c, i, n) || !bus_tracker_reads(r->tracker, &r->row)) {
        return ERR_OK;
    }
    TRY(others_told(r, c, i));
    r->now_ns = r->row.ns + r->row.after_ns[n - 1];
    r->level[LINE_RDATA] = edge_level(c->edge[i + n - 1]);
    r->out->edges += (int64_t)n;
    *out_taken = n;
    TRY(visit_reads(r, c, i));
    return figures_reads(r, c, i);
}

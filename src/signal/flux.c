/* The flux decoder: its stages in order. */
#include "signal/flux_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define INTERVALS_MIN 16
#define STEADY_MIN    0.25 /* of a stretch: its code is named though the rest is noise */
#define STEADY_WHOLE  0.95
#define RATE_NEAR     0.13
#define MFM_SHARE     0.8
#define FM_RUN        256 /* intervals in a row without MFM's three cells */

const char *encoding_name(enum encoding e)
{
    static const char *const name[] = {[ENC_NONE] = "none",
                                       [ENC_FM] = "FM",
                                       [ENC_MFM] = "MFM",
                                       [ENC_MIXED] = "mixed",
                                       [ENC_REGULAR_OTHER] = "regular-other",
                                       [ENC_UNSTEADY] = "unsteady"};
    return name[e];
}

const char *field_state_name(enum field_state s)
{
    static const char *const name[] = {[FIELD_ABSENT] = "absent",
                                       [FIELD_DAMAGED] = "damaged",
                                       [FIELD_REPAIRED] = "repaired",
                                       [FIELD_GOOD] = "good"};
    return name[s];
}

struct decode {
    const struct flux *flux;
    const struct flux_options *options;
    struct field_list fields;
    struct span_list spans;
    struct flux_quality quality;
    double steady;    /* part of the stretch in which a clock was found */
    bool two_lengths; /* MFM with a part that has 2 and 4 cells only: FM may stand there */
};

static size_t good_ids(const struct field_list *l, enum encoding encoding)
{
    size_t n = 0;
    for (size_t i = 0; i < l->count; i++) {
        n += l->sector[i].id_good && l->sector[i].encoding == encoding;
    }
    return n;
}

/* FM_RUN steps in a row of two and four cells, with enough of both. Looked for from the end of
 * each window, so that most steps are never looked at. */
static bool two_lengths_only(const struct cells *c)
{
    for (size_t from = 0; from + FM_RUN <= c->count;) {
        const uint8_t *step = c->step + from;
        size_t fours = 0;
        size_t k = FM_RUN;
        while (k > 0 && (step[k - 1] == 2 || step[k - 1] == 4)) {
            fours += step[--k] == 4;
        }
        if (k == 0 && fours > FM_RUN / 8 && FM_RUN - fours > FM_RUN / 8) {
            return true;
        }
        from += k > 0 ? k : FM_RUN / 2;
    }
    return false;
}

/* Decode as one code. The quality kept is that of the code with more fields. */
static enum err decode_as(struct decode *d, const struct code *code)
{
    struct cells c;
    double steady = 0;
    struct flux_quality q = {0};
    size_t before = d->fields.count;
    TRY(cells_recover(d->flux, code, &c));
    d->spans.count = 0;
    cells_constrain(&c);
    d->two_lengths = code->encoding == ENC_MFM && two_lengths_only(&c);
    enum err e = code->encoding == ENC_REGULAR_OTHER
                     ? ERR_OK
                     : fields_find(&c, d->options, &d->fields, &d->spans);
    if (e == ERR_OK) {
        e = quality_measure(&c, &d->spans, d->options->sample_ns, &q, &steady);
    }
    if (e == ERR_OK && (d->quality.transitions == 0 || d->fields.count - before > before)) {
        d->quality = q;
        d->quality.encoding = code->encoding;
        d->steady = steady;
    }
    cells_release(&c);
    return e;
}

/* Identifiers of a code without a single good one, where the other has some, are chance. */
static void drop_chance(struct field_list *l, enum encoding encoding)
{
    size_t kept = 0;
    for (size_t i = 0; i < l->count; i++) {
        if (l->sector[i].encoding == encoding) {
            free(l->sector[i].bytes);
            free(l->sector[i].quality);
        } else {
            l->sector[kept++] = l->sector[i];
        }
    }
    l->count = kept;
}

/* The code that the intervals show, and the other one where they leave it open. */
static enum err decode_all(struct decode *d)
{
    struct code code;
    struct code other;
    code_find(d->flux, &code);
    if (code.encoding == ENC_UNSTEADY) {
        return ERR_OK;
    }
    TRY(decode_as(d, &code));
    if (code.encoding == ENC_MFM && d->two_lengths) {
        other = code_as_fm(&code);
        return decode_as(d, &other);
    }
    if (code.encoding == ENC_FM && d->steady > STEADY_WHOLE &&
        good_ids(&d->fields, ENC_FM) > 0) {
        return ERR_OK; /* FM throughout */
    }
    bool may_be_mfm =
        code.encoding == ENC_FM || code.share[2] + code.share[3] + code.share[4] > MFM_SHARE;
    if (code.encoding != ENC_MFM && may_be_mfm) {
        other = code_as_mfm(&code);
        return decode_as(d, &other);
    }
    return ERR_OK;
}

static void name_result(struct decode *d)
{
    size_t fm = good_ids(&d->fields, ENC_FM);
    size_t mfm = good_ids(&d->fields, ENC_MFM);
    struct flux_quality *q = &d->quality;
    if ((fm == 0) != (mfm == 0)) {
        drop_chance(&d->fields, fm == 0 ? ENC_FM : ENC_MFM);
    }
    if (fm + mfm == 0 && (q->transitions == 0 || d->steady < STEADY_MIN)) {
        *q = (struct flux_quality){.encoding = ENC_UNSTEADY,
                                   .short_share = q->short_share,
                                   .long_share = q->long_share};
    }
    q->transitions = d->flux->count + 1;
    q->data_rate = code_data_rate(q->encoding, q->cell_ns * 1e3);
    if (d->options->data_rate > 0 && q->data_rate > 0 &&
        fabs(code_cell_ps(d->options->data_rate) / (q->cell_ns * 1e3) - 1) < RATE_NEAR) {
        q->data_rate = d->options->data_rate;
    }
    if (fm > 0 && mfm > 0) {
        q->encoding = ENC_MIXED;
    }
}

static int compare_time(const void *a, const void *b)
{
    const struct sector_read *x = a;
    const struct sector_read *y = b;
    return (x->id_ns > y->id_ns) - (x->id_ns < y->id_ns);
}

enum err flux_decode(const struct flux *f, const struct flux_options *o, struct flux_read *out)
{
    struct decode d = {.flux = f, .options = o};
    enum err e = ERR_OK;
    if (f->count < INTERVALS_MIN) {
        *out = (struct flux_read){.quality = {.transitions = f->count > 0 ? f->count + 1 : 0}};
        return ERR_OK;
    }
    e = decode_all(&d);
    free(d.spans.span);
    if (e == ERR_OK) {
        name_result(&d);
        if (d.fields.count > 1) {
            qsort(d.fields.sector, d.fields.count, sizeof d.fields.sector[0], compare_time);
        }
    }
    *out = (struct flux_read){d.quality, d.fields.sector, d.fields.count,
                              d.fields.lone_data_marks, d.fields.index_marks};
    if (e != ERR_OK) {
        flux_read_release(out);
    }
    return e;
}

void flux_read_release(struct flux_read *r)
{
    for (size_t i = 0; i < r->sector_count; i++) {
        free(r->sector[i].bytes);
        free(r->sector[i].quality);
    }
    free(r->sector);
    memset(r, 0, sizeof *r);
}

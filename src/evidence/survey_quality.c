/* One flux quality from many stretches: the commonest code's, each stretch weighed by its
 * transitions. */
#include "evidence/survey_private.h"

#include <math.h>
#include <string.h>

#define MIXED_SHARE 0.1 /* of FM and MFM together, from which both are named */

void quality_add(struct quality_sum *sum, const struct flux_quality *q)
{
    double w = (double)q->transitions;
    size_t i = 0;
    if (q->transitions == 0) {
        return;
    }
    while (i < sum->parts &&
           (sum->part[i].encoding != q->encoding || sum->part[i].data_rate != q->data_rate)) {
        i++;
    }
    if (i == sum->parts) {
        if (sum->parts == QUALITY_CLASSES) {
            return;
        }
        memset(&sum->part[i], 0, sizeof sum->part[i]);
        sum->part[i].encoding = q->encoding;
        sum->part[i].data_rate = q->data_rate;
        sum->parts++;
    }
    sum->part[i].weight += w;
    sum->part[i].cell_ns += w * q->cell_ns;
    sum->part[i].cell_sd += w * q->cell_sd_percent;
    sum->part[i].jitter_sq += w * q->jitter_ns * q->jitter_ns;
    sum->part[i].margin_percent += w * q->margin_percent;
    sum->part[i].margin_ns += w * q->margin_ns;
    sum->part[i].asymmetry_ns += w * q->asymmetry_ns;
    sum->part[i].shift_ns += w * q->peak_shift_ns;
    sum->part[i].jitter_u += w * q->jitter_u_ns;
    sum->part[i].margin_u += w * q->margin_u_percent;
    sum->part[i].asymmetry_u += w * q->asymmetry_u_ns;
    sum->part[i].shift_u += w * q->peak_shift_u_ns;
    sum->part[i].beyond = sum->part[i].beyond > 0 ? fmin(sum->part[i].beyond, q->margin_beyond)
                                                  : q->margin_beyond;
    sum->part[i].short_share += w * q->short_share;
    sum->part[i].long_share += w * q->long_share;
    if (q->transitions > sum->part[i].heaviest) {
        sum->part[i].heaviest = q->transitions;
        memcpy(sum->part[i].interval_ratio, q->interval_ratio, sizeof q->interval_ratio);
    }
}

static double weight_of(const struct quality_sum *sum, enum encoding encoding)
{
    double w = 0;
    for (size_t i = 0; i < sum->parts; i++) {
        w += sum->part[i].encoding == encoding ? sum->part[i].weight : 0;
    }
    return w;
}

struct flux_quality quality_mean(const struct quality_sum *sum, size_t transitions)
{
    struct flux_quality q = {0};
    size_t best = 0;
    q.transitions = transitions;
    q.encoding = ENC_NONE;
    for (size_t i = 1; i < sum->parts; i++) {
        best = sum->part[i].weight > sum->part[best].weight ? i : best;
    }
    if (sum->parts == 0) {
        return q;
    }
    double w = sum->part[best].weight;
    double fm = weight_of(sum, ENC_FM);
    double mfm = weight_of(sum, ENC_MFM);
    q.encoding = sum->part[best].encoding;
    if ((q.encoding == ENC_FM || q.encoding == ENC_MFM) &&
        fmin(fm, mfm) > MIXED_SHARE * (fm + mfm)) {
        q.encoding = ENC_MIXED;
    }
    q.data_rate = sum->part[best].data_rate;
    q.cell_ns = sum->part[best].cell_ns / w;
    q.cell_sd_percent = sum->part[best].cell_sd / w;
    q.jitter_ns = sqrt(sum->part[best].jitter_sq / w);
    q.margin_percent = sum->part[best].margin_percent / w;
    q.margin_ns = sum->part[best].margin_ns / w;
    q.asymmetry_ns = sum->part[best].asymmetry_ns / w;
    q.peak_shift_ns = sum->part[best].shift_ns / w;
    /* what the visits' uncertainties have in common does not average out: neither do they */
    q.jitter_u_ns = sum->part[best].jitter_u / w;
    q.margin_u_percent = sum->part[best].margin_u / w;
    q.asymmetry_u_ns = sum->part[best].asymmetry_u / w;
    q.peak_shift_u_ns = sum->part[best].shift_u / w;
    q.margin_beyond = sum->part[best].beyond;
    q.short_share = sum->part[best].short_share / w;
    q.long_share = sum->part[best].long_share / w;
    memcpy(q.interval_ratio, sum->part[best].interval_ratio, sizeof q.interval_ratio);
    return q;
}

/* The same figures as one JSON document. */
#include "faults.h"

#include <jansson.h>
#include <stdlib.h>

static json_t *worths(const struct summary *s)
{
    json_t *o = json_object();
    for (int i = 0; i < WORTHS; i++)
        json_object_set_new(o, WORTH_NAMES[i], json_integer(s->worth[i]));
    return o;
}

static json_t *bins(const struct summary *s)
{
    json_t *list = json_array();
    for (int i = 0; i < BINS; i++) {
        int n = s->bins.count[i];
        json_array_append_new(list, json_pack("{s:f,s:f,s:i,s:f,s:f}", "from", i / (double)BINS,
                                              "to", (i + 1) / (double)BINS, "cases", n, "said",
                                              n > 0 ? s->bins.sum[i] / n : 0.0, "came",
                                              n > 0 ? s->bins.hits[i] / (double)n : 0.0));
    }
    return list;
}

static json_t *cases(const struct record *r, int count)
{
    json_t *list = json_array();
    for (int i = 0; i < count; i++) {
        if (r[i].failed)
            continue;
        json_array_append_new(
            list,
            json_pack("{s:i,s:i,s:s,s:s,s:s,s:s,s:s,s:f,s:b,s:b,s:s}", "scenario", r[i].index,
                      "kit", r[i].kit, "kind", KIND_NAMES[r[i].kind], "fault", r[i].fault[0],
                      "second", r[i].fault[1], "grade", grade_name(r[i].grade), "leading",
                      end_name(r[i].leading), "probability", r[i].p, "machine_end",
                      (int)r[i].shown[0], "drive_end", (int)r[i].shown[1], "worth",
                      WORTH_NAMES[record_worth(&r[i])]));
    }
    return list;
}

static json_t *policies(const struct record *r, int count)
{
    json_t *list = json_array();
    for (int i = 0; i < 2 * POLICIES; i++) {
        struct test_count t;
        bool both = i < POLICIES;
        tests_count(r, count, i % POLICIES, both, &t);
        json_array_append_new(list, json_pack("{s:s,s:b,s:i,s:i,s:i,s:i,s:f,s:f}", "order",
                                              POLICY_NAMES[i % POLICIES], "from_both_taps",
                                              (int)both, "cases", t.cases, "right", t.right,
                                              "wrong", t.wrong, "cleared", t.cleared, "tests",
                                              t.tests, "minutes", t.minutes));
    }
    return list;
}

static json_t *tilts(const struct record *r, int count)
{
    json_t *list = json_array();
    for (int v = 0; v < TILTS; v++) {
        struct summary s;
        char label[32];
        int n = tilt_score(r, count, v, &s);
        if (n == 0)
            continue;
        json_array_append_new(list,
                              json_pack("{s:s,s:i,s:o,s:f,s:f}", "priors", tilt_label(v, label),
                                        "cases", n, "verdicts", worths(&s), "log_bits",
                                        s.log_bits, "calibration_error", s.calibration));
    }
    return list;
}

enum err json_print(const struct record *r, int count, const struct summary *s,
                    const struct record *tilted, int tilted_count, const struct record *tested,
                    int tested_count)
{
    json_t *o =
        json_pack("{s:i,s:i,s:o,s:i,s:i,s:f,s:f,s:f,s:f,s:f,s:o,s:o,s:o,s:o}", "cases",
                  s->count, "failed", s->failed, "verdicts", worths(s), "both_taps", s->both,
                  "both_taps_decided", s->both_decided, "quadratic", s->quadratic, "log_bits",
                  s->log_bits, "calibration_error", s->calibration,
                  "calibration_error_by_count", s->by_count, "calibration_error_by_chance",
                  s->spread, "reliability", bins(s), "priors", tilts(tilted, tilted_count),
                  "tests", policies(tested, tested_count), "each", cases(r, count));
    bool written =
        o != NULL && json_dumpf(o, stdout, JSON_INDENT(1) | JSON_REAL_PRECISION(6)) == 0;
    json_decref(o);
    return written && putchar('\n') != EOF ? ERR_OK : ERR_IO;
}

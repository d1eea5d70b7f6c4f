/* A capture of any bytes, surveyed and reported: whatever was read, the JSON is one valid
 * document. */
#include "base/buf.h"
#include "evidence/survey.h"
#include "report/report.h"

#include <assert.h>
#include <jansson.h>
#include <stdint.h>
#include <stdlib.h>

#define OUT_MAX ((size_t)64 << 20)

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void look(const struct survey *s)
{
    struct text_style style = {false, true};
    struct buf out;
    json_error_t why;

    assert(s->seconds >= 0 && s->edges >= 0);
    for (size_t i = 0; i < s->visit_count; i++) {
        assert(s->visit[i].end_ns >= s->visit[i].start_ns);
        assert(s->visit[i].silent_ns <= s->visit[i].end_ns - s->visit[i].start_ns);
    }
    for (size_t t = 0; t < s->track_count; t++)
        for (size_t i = 0; i < s->track[t].sector_count; i++)
            assert(s->track[t].sector[i].good <= s->track[t].sector[i].seen ||
                   !s->track[t].sector[i].id_good);
    buf_init(&out, OUT_MAX);
    assert(report_measure_json(s, &out) == ERR_OK);
    json_t *j = json_loadb(out.data, out.len, JSON_REJECT_DUPLICATES, &why);
    assert(j != NULL);
    json_decref(j);
    buf_release(&out);
    assert(report_measure_text("capture", s, &style, &out) == ERR_OK);
    buf_release(&out);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct survey *s = calloc(1, sizeof *s);
    struct survey_options o = {0};
    struct capture *c = NULL;
    struct err_msg e = {0};

    if (s != NULL && capture_open_memory("input", data, size, NULL, &c, &e) == ERR_OK) {
        if (survey_run(c, &o, s, &e) == ERR_OK) {
            look(s);
            survey_release(s);
        } else {
            assert(e.text[0] != '\0');
        }
        capture_close(c);
    }
    free(s);
    return 0;
}

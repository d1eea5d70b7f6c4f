/* The page itself: it has an end however much it is given, and its colours can be told apart.
 */
#include "report/page.h"
#include "report/page_parts.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* ---- the most that a page can be given -------------------------------------------------- */

#define TRACKS  1024
#define SECTORS 1024
#define WIDE                                                                                   \
    "\"\"\"\"\"\"\"\"\"\"\"\"\"\"\"\"" /* each of these takes six bytes on the page            \
                                        */

static void fill(char *text, size_t size)
{
    memset(text, '"', size - 1);
    text[size - 1] = '\0';
}

static void fill_tracks(struct survey *s)
{
    s->track = calloc(TRACKS, sizeof s->track[0]);
    s->place = calloc(TRACKS, sizeof s->place[0]);
    assert_non_null(s->track);
    assert_non_null(s->place);
    s->track_count = s->place_count = TRACKS;
    for (int i = 0; i < TRACKS; i++) {
        s->track[i].cylinder = s->place[i].cylinder = i / 2;
        s->track[i].side = s->place[i].side = i % 2;
        s->place[i].quality.cell_ns = 2000;
        s->place[i].quality.jitter_ns = 90 + i % 7;
        s->place[i].quality.margin_percent = 60;
        s->track[i].sector = calloc(SECTORS, sizeof s->track[i].sector[0]);
        assert_non_null(s->track[i].sector);
        s->track[i].sector_count = SECTORS;
        for (int k = 0; k < SECTORS; k++) {
            s->track[i].sector[k].data = (enum field_state)((i + k) % 4);
            s->track[i].sector[k].id_good = (i + k) % 5 != 0;
        }
    }
}

static void fill_survey(struct survey *s)
{
    fill_tracks(s);
    s->info.lines = (LINE_BIT(LINE_COUNT) - 1);
    s->seconds = 12345.678;
    s->flux_recorded = s->flux_usable = s->index_recorded = true;
    s->flux.cell_ns = 2000;
    s->flux.encoding = ENC_MFM;
    s->sample_ns = 10;
    for (int i = 0; i < 8; i++) {
        s->flux.interval_ratio[i] = i + 1;
    }
    s->rotation.from = ROTATION_INDEX;
    s->rotation.revolutions = TURNS_KEPT_MAX;
    for (int i = 0; i < TURNS_KEPT_MAX; i++) {
        s->rotation.period_ns[i] = 200000000 + i % 3 * 900000;
    }
    s->warning_count = 100;
    s->warning = calloc(s->warning_count, sizeof s->warning[0]);
    assert_non_null(s->warning);
    for (size_t i = 0; i < s->warning_count; i++) {
        s->warning[i] = malloc(240);
        assert_non_null(s->warning[i]);
        fill(s->warning[i], 240);
    }
}

/* Every column another than the one before: the longest paths. */
static void fill_trace(struct trace *t)
{
    t->started = true;
    t->tick = (struct tick){FS_PER_NS, 1};
    t->end_tick = INT64_C(599) << 20;
    t->shift = 20;
    t->intervals = 1000000;
    for (int l = 0; l < LINE_COUNT; l++) {
        t->line[l].started = true;
        for (int i = 0; i < TRACE_COLUMNS; i++) {
            t->line[l].seen[i] = i % 2 != 0 ? SEEN_LOW : SEEN_LOW | SEEN_HIGH;
        }
    }
    for (int r = 0; r < RAIL_COUNT; r++) {
        t->rail[r].started = true;
        for (int i = 0; i < TRACE_COLUMNS; i++) {
            t->rail[r].seen[i] = true;
            t->rail[r].low_mv[i] = 4000 + i % 100;
            t->rail[r].high_mv[i] = 5100 + i % 90;
        }
    }
    for (int i = 0; i < TRACE_BINS; i++) {
        t->interval[i] = 1 + i % 1000;
    }
}

static struct verdict *full_verdict(void)
{
    struct verdict *v = calloc(1, sizeof *v);
    assert_non_null(v);
    v->fault_count = v->finding_count = v->next_count = 200;
    v->fault_list = calloc(200, sizeof v->fault_list[0]);
    v->finding = calloc(200, sizeof v->finding[0]);
    v->next = calloc(200, sizeof v->next[0]);
    assert_true(v->fault_list != NULL && v->finding != NULL && v->next != NULL);
    fill(v->title, sizeof v->title);
    fill(v->summary, sizeof v->summary);
    for (int i = 0; i < 200; i++) {
        v->fault_list[i].probability = 0.005;
        fill(v->fault_list[i].text, sizeof v->fault_list[i].text);
        fill(v->finding[i].text, sizeof v->finding[i].text);
        fill(v->finding[i].source, sizeof v->finding[i].source);
        v->finding[i].weight[0] = 30;
        fill(v->next[i].test, sizeof v->next[i].test);
        fill(v->next[i].why, sizeof v->next[i].why);
        v->next[i].outcome_count = OUTCOMES_MAX;
        for (int k = 0; k < OUTCOMES_MAX; k++) {
            fill(v->next[i].outcome[k], sizeof v->next[i].outcome[k]);
        }
    }
    v->gate_count = v->untested_count = v->caution_count = v->warning_count = VERDICT_TEXTS_MAX;
    for (int i = 0; i < VERDICT_TEXTS_MAX; i++) {
        fill(v->gate[i], VERDICT_TEXT_MAX);
        fill(v->untested[i], VERDICT_TEXT_MAX);
        fill(v->caution[i], VERDICT_TEXT_MAX);
        fill(v->warning[i], VERDICT_TEXT_MAX);
    }
    return v;
}

/* A case with as many captures as are drawn, and more told than is listed. */
static void full_case(struct case_file *c, const struct profile_path *path)
{
    struct buf text;
    struct err_msg e = {0};
    buf_init(&text, 4u << 20);
    assert_int_equal(buf_str(&text, "[case]\ntitle = full\n"), ERR_OK);
    for (int i = 0; i < PAGE_DRAWN_MAX; i++) {
        assert_int_equal(buf_printf(&text,
                                    "[capture c%d]\nfile = case.ini\nrole = inline\n"
                                    "tap = drive-end\nerror = " WIDE WIDE WIDE "\n",
                                    i),
                         ERR_OK);
    }
    for (int i = 0; i < 2000; i++) {
        assert_int_equal(buf_printf(&text, "[repair r%d]\ndone = ", i), ERR_OK);
        for (int k = 0; k < 50; k++) {
            assert_int_equal(buf_str(&text, WIDE), ERR_OK);
        }
        assert_int_equal(buf_str(&text, "\n"), ERR_OK);
    }
    enum err code = case_file_parse("case.ini", TEST_SOURCE_DIR "/flux-samples/heron-sound",
                                    text.data, text.len, path, c, &e);
    if (code != ERR_OK) {
        fail_msg("%s", e.text);
    }
    buf_release(&text);
}

static struct accept_sheet *full_sheets(void)
{
    struct accept_sheet *s = calloc(2, sizeof *s);
    assert_non_null(s);
    for (int k = 0; k < 2; k++) {
        fill(s[k].source, sizeof s[k].source);
        s[k].place_count = ACCEPT_PLACES_MAX;
        for (int i = 0; i < ACCEPT_PLACES_MAX; i++) {
            s[k].place[i] = (struct accept_place){
                .cylinder = i / 2, .side = i % 2, .margin_ns = 700, .margin_u_ns = 3};
        }
        for (int i = 0; i < ACCEPT_ITEMS; i++) {
            struct accept_line *l = &s[k].line[i];
            l->state = ACCEPT_PASS;
            l->has_value = l->has_limit = l->has_shop = true;
            fill(l->text, sizeof l->text);
            fill(l->limit.source, sizeof l->limit.source);
            fill(l->shop.source, sizeof l->shop.source);
        }
    }
    return s;
}

static struct archive_map full_disk(void)
{
    struct archive_map m = {.told_count = ARCHIVED_TOLD_MAX,
                            .pass_count = ARCHIVED_PASSES_MAX,
                            .sector_count = ARCHIVED_SECTORS_MAX};
    m.sector = calloc(m.sector_count, sizeof m.sector[0]);
    assert_non_null(m.sector);
    for (int i = 0; i < ARCHIVED_SECTORS_MAX; i++) {
        m.sector[i] = (struct archived_sector){i / 128, i / 64 % 2, i % 64, "damaged", false};
    }
    snprintf(m.volume, sizeof m.volume, "FAT12");
    m.file_count = m.files_touched = ARCHIVED_FILES_MAX;
    for (int i = 0; i < ARCHIVED_FILES_MAX; i++) {
        fill(m.file[i].path, sizeof m.file[i].path);
    }
    for (int i = 0; i < ARCHIVED_TOLD_MAX; i++) {
        fill(m.told[i].value, sizeof m.told[i].value);
    }
    for (int i = 0; i < ARCHIVED_PASSES_MAX; i++) {
        fill(m.pass[i].value, sizeof m.pass[i].value);
    }
    return m;
}

static void the_most_that_can_be_given_stays_below_the_ceiling(void **state)
{
    static struct survey survey[PAGE_DRAWN_MAX];
    const struct trace *trace[PAGE_DRAWN_MAX];
    struct trace *t = calloc(1, sizeof *t);
    struct verdict *v = full_verdict();
    struct profile_path *path = NULL;
    struct case_file c;
    struct err_msg e = {0};
    struct buf out;
    (void)state;
    assert_non_null(t);
    fill_survey(&survey[0]);
    fill_trace(t);
    for (int i = 0; i < PAGE_DRAWN_MAX; i++) {
        survey[i] = survey[0]; /* borrowed: the first alone is released */
        trace[i] = t;
    }
    assert_int_equal(profile_path_make(NULL, &path, &e), ERR_OK);
    full_case(&c, path);
    struct accept_sheet *sheet = full_sheets();
    struct archive_map disk = full_disk();
    struct page p = {.c = &c,
                     .v = v,
                     .survey = survey,
                     .trace = trace,
                     .drawn = PAGE_DRAWN_MAX,
                     .sheet = sheet,
                     .sheets = 2,
                     .disk = &disk,
                     .program = "whichend",
                     .verbose = true};
    buf_init(&out, PAGE_BYTES_MAX);
    assert_int_equal(report_page(&p, &out), ERR_OK);
    print_message("the fullest page: %zu bytes of %zu\n", out.len, PAGE_BYTES_MAX);
    assert_true(out.len > PAGE_BYTES_MAX / 2); /* it was full indeed */
    assert_non_null(strstr(out.data, "</html>"));
    buf_release(&out);
    free(sheet);
    archive_map_release(&disk);
    case_file_release(&c);
    profile_path_free(path);
    verdict_release(v);
    free(v);
    free(t);
    survey_release(&survey[0]);
}

/* ---- colours ---------------------------------------------------------------------------- */

/* W3C, Web Content Accessibility Guidelines 2.1: "relative luminance" and "contrast ratio". */
static double luminance(unsigned rgb)
{
    static const double share[3] = {0.2126, 0.7152, 0.0722};
    double sum = 0;
    for (int i = 0; i < 3; i++) {
        double c = (double)(rgb >> (16 - 8 * i) & 0xff) / 255;
        sum += share[i] * (c <= 0.03928 ? c / 12.92 : pow((c + 0.055) / 1.055, 2.4));
    }
    return sum;
}

static double contrast(unsigned a, unsigned b)
{
    double x = luminance(a);
    double y = luminance(b);
    return (fmax(x, y) + 0.05) / (fmin(x, y) + 0.05);
}

/* The value of a colour in one block of the style; #abc stands for #aabbcc. */
static unsigned colour(const char *block, const char *name)
{
    char key[32];
    (void)snprintf(key, sizeof key, "--%s:#", name);
    const char *at = strstr(block, key);
    const char *end = strchr(block, '}');
    assert_true(at != NULL && at < end);
    at += strlen(key);
    unsigned value = (unsigned)strtoul(at, NULL, 16);
    if (strspn(at, "0123456789abcdef") == 3) {
        value = (value & 0xf00) * 0x1100 | (value & 0xf0) * 0x110 | (value & 0xf) * 0x11;
    }
    return value;
}

static void the_formula_gives_the_published_ends(void **state)
{
    (void)state;
    assert_true(fabs(contrast(0xffffff, 0x000000) - 21) < 1e-9);
    assert_true(fabs(contrast(0x777777, 0xffffff) - 4.48) < 0.005); /* just short of 4.5 */
    assert_int_equal(colour(":root{--a:#1bc}", "a"), 0x11bbcc);
}

/* WCAG 2.1, 1.4.3: text 4.5 to 1; 1.4.11: what must be seen of a drawing 3 to 1. */
static void stands_out(const char *block)
{
    static const char *const texts[] = {"ink", "faint", "fault", "good", "warn"};
    static const char *const marks[] = {"rule", "mark", "mark2", "fault"};
    static const char *const grounds[] = {"paper", "card"};
    for (size_t g = 0; g < sizeof grounds / sizeof grounds[0]; g++) {
        unsigned ground = colour(block, grounds[g]);
        for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
            assert_true(contrast(colour(block, texts[i]), ground) >= 4.5);
        }
        for (size_t i = 0; i < sizeof marks / sizeof marks[0]; i++) {
            assert_true(contrast(colour(block, marks[i]), ground) >= 3);
        }
    }
    /* the strokes over sectors, and the bars in their trough */
    assert_true(contrast(colour(block, "ink"), colour(block, "soft")) >= 3);
    assert_true(contrast(colour(block, "card"), colour(block, "fault")) >= 3);
    assert_true(contrast(colour(block, "mark"), colour(block, "wash")) >= 3);
}

static void ink_stands_out_from_its_ground_in_light_dark_and_print(void **state)
{
    int blocks = 0;
    (void)state;
    for (size_t i = 0; PAGE_STYLE[i] != NULL; i++) {
        for (const char *at = PAGE_STYLE[i]; (at = strstr(at, ":root{")) != NULL; at++) {
            stands_out(at);
            blocks++;
        }
    }
    assert_int_equal(blocks, 3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_most_that_can_be_given_stays_below_the_ceiling),
        cmocka_unit_test(the_formula_gives_the_published_ends),
        cmocka_unit_test(ink_stands_out_from_its_ground_in_light_dark_and_print),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

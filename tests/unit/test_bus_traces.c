/* The tracker against counts that others made: traces of a controller core that is not ours,
 * each with a label that holds what was counted while it ran ("falling_edges_at_tap", the drive
 * model's cylinders) and what a separate script counted afterwards ("read_back"). See the
 * README beside the traces; skipped where they are absent.
 */
#include "bus_wires.h"
#include "capture/capture.h"

#include <dirent.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <sys/stat.h>

#define TRACES      TEST_SHARED_DIR "/data/traces"
#define TRACES_MAX  64
#define PATH_LENGTH 512

struct trace {
    char folder[256], tap[16];
    json_t *label; /* of this tap */
    struct bus_story story;
    struct tap_edges *edges;
    int32_t last_place;
};

struct set {
    struct trace trace[TRACES_MAX];
    size_t count;
    struct profile *drive, *machine, *cable;
    json_t *labels[TRACES_MAX];
    size_t label_count;
};

static void listen(struct set *set, struct trace *t)
{
    char path[PATH_LENGTH];
    struct capture *c = NULL;
    struct bus_tracker *tracker = NULL;
    struct chunk chunk = {0};
    struct err_msg e = {.code = ERR_OK};
    int64_t ns = 0;
    uint64_t serial = 0;
    (void)snprintf(path, sizeof path, "%s/%s/%s.vcd.gz", TRACES, t->folder, t->tap);
    assert_int_equal(capture_open(path, NULL, &c, &e), ERR_OK);
    struct tick tick = capture_info(c)->tick;
    assert_int_equal(
        bus_tracker_new(set->drive, set->machine, capture_info(c)->lines, &tracker), ERR_OK);
    assert_int_equal(tap_edges_new(&t->edges), ERR_OK);
    while (!chunk.last) {
        assert_int_equal(capture_next(c, &chunk, &e), ERR_OK);
        for (size_t i = 0; i < chunk.count; i++) {
            enum line line = edge_line(chunk.edge[i]);
            enum level level = edge_level(chunk.edge[i]);
            assert_true(ticks_to_ns(edge_tick(&chunk, i), tick, &ns));
            assert_int_equal(bus_tracker_edge(tracker, ns, line, level), ERR_OK);
            assert_int_equal(tap_edges_add(t->edges, ns, line, level), ERR_OK);
        }
    }
    assert_true(ticks_to_ns(chunk.end_tick, tick, &ns));
    t->last_place = bus_tracker_place(tracker, &serial)->epoch_cylinder;
    assert_int_equal(tap_edges_end(t->edges, ns), ERR_OK);
    assert_int_equal(bus_tracker_finish(tracker, ns, &t->story), ERR_OK);
    bus_tracker_free(tracker);
    capture_close(c);
}

static void add_folder(struct set *set, const char *folder)
{
    static const char *const TAPS[] = {"drive-end", "machine-end"};
    char path[PATH_LENGTH];
    (void)snprintf(path, sizeof path, "%s/%s/label.json", TRACES, folder);
    json_t *label = json_load_file(path, 0, NULL);
    if (label == NULL || set->label_count == TRACES_MAX) {
        json_decref(label);
        return;
    }
    set->labels[set->label_count++] = label;
    for (size_t i = 0; i < 2; i++) {
        json_t *mine = json_object_get(label, TAPS[i]);
        if (mine == NULL || set->count == TRACES_MAX) {
            continue;
        }
        struct trace *t = &set->trace[set->count++];
        (void)snprintf(t->folder, sizeof t->folder, "%s", folder);
        (void)snprintf(t->tap, sizeof t->tap, "%s", TAPS[i]);
        t->label = mine;
        listen(set, t);
    }
}

static int load(void **state)
{
    static struct set set;
    struct profile_path *path = NULL;
    struct err_msg e = {.code = ERR_OK};
    *state = &set;
    assert_int_equal(profile_path_make(TEST_SOURCE_DIR "/profiles", &path, &e), ERR_OK);
    assert_int_equal(profile_load(path, PROFILE_DRIVE, "drive-35-dd", &set.drive, &e), ERR_OK);
    assert_int_equal(
        profile_load(path, PROFILE_CONTROLLER, "controller-wd177x", &set.machine, &e), ERR_OK);
    assert_int_equal(profile_load(path, PROFILE_CABLE, "ribbon-34-straight", &set.cable, &e),
                     ERR_OK);
    profile_path_free(path);
    DIR *d = opendir(TRACES);
    for (struct dirent *f = d != NULL ? readdir(d) : NULL; f != NULL; f = readdir(d)) {
        if (f->d_name[0] != '.' && strlen(f->d_name) < sizeof set.trace[0].folder) {
            add_folder(&set, f->d_name);
        }
    }
    if (d != NULL) {
        (void)closedir(d);
    }
    return 0;
}

static int unload(void **state)
{
    struct set *set = *state;
    for (size_t i = 0; i < set->count; i++) {
        bus_story_release(&set->trace[i].story);
        tap_edges_free(set->trace[i].edges);
    }
    for (size_t i = 0; i < set->label_count; i++) {
        json_decref(set->labels[i]);
    }
    profile_free(set->drive);
    profile_free(set->machine);
    profile_free(set->cable);
    return 0;
}

static struct set *traces(void **state)
{
    struct set *set = *state;
    if (set->count == 0) {
        print_message("no traces at %s: skipped\n", TRACES);
        skip();
    }
    return set;
}

static double number(const struct trace *t, const char *group, const char *key)
{
    return json_number_value(json_object_get(json_object_get(t->label, group), key));
}

static bool has(const struct trace *t, const char *group, const char *key)
{
    return json_is_number(json_object_get(json_object_get(t->label, group), key));
}

static const struct trace *trace_of(const struct set *set, const char *folder, const char *tap)
{
    for (size_t i = 0; i < set->count; i++) {
        if (strcmp(set->trace[i].folder, folder) == 0 && strcmp(set->trace[i].tap, tap) == 0) {
            return &set->trace[i];
        }
    }
    fail_msg("no trace %s %s", folder, tap);
    return NULL;
}

static void falls_of_every_control_line_agree(void **state)
{
    const struct set *set = traces(state);
    for (size_t i = 0; i < set->count; i++) {
        const struct trace *t = &set->trace[i];
        const char *name = NULL;
        json_t *falls = NULL;
        json_object_foreach(json_object_get(t->label, "falling_edges_at_tap"), name, falls)
        {
            enum line line = line_by_name(name);
            assert_true(line != LINE_NONE);
            if (line != LINE_RDATA) { /* recorded in part only */
                assert_int_equal(t->story.line[line].falls, json_integer_value(falls));
            }
        }
        /* A pulse under way where a window of RDATA opens has no fall that was recorded. */
        double missing = number(t, "read_back", "rdata_pulses_recorded") -
                         (double)t->story.line[LINE_RDATA].falls;
        assert_true(missing >= 0 && missing <= (double)json_array_size(json_object_get(
                                                   t->label, "rdata_windows_s")));
    }
}

static void steps_and_their_times_agree(void **state)
{
    const struct set *set = traces(state);
    for (size_t i = 0; i < set->count; i++) {
        const struct trace *t = &set->trace[i];
        const struct bus_story *s = &t->story;
        int64_t nearest = INT64_MAX;
        assert_int_equal(s->steps_in + s->steps_out, number(t, "read_back", "step_pulses"));
        assert_int_equal(s->steps_in, number(t, "read_back", "step_pulses_with_dir_low"));
        if (!has(t, "read_back", "step_spacing_min_ms")) {
            assert_int_equal(s->seek_count, 0);
            continue;
        }
        for (size_t k = 0; k < s->seek_count; k++) {
            if (s->seek[k].steps > 1 && s->seek[k].min_interval_ns < nearest) {
                nearest = s->seek[k].min_interval_ns;
            }
        }
        /* The label's figure is rounded to 1 us. */
        assert_true(fabs((double)nearest / 1e6 -
                         number(t, "read_back", "step_spacing_min_ms")) < 0.001);
        assert_true(fabs((double)s->line[LINE_STEP].median_low_ns / 1e3 -
                         number(t, "read_back", "step_low_us")) < 0.051);
    }
}

/* At the drive end the steps are those that the drive got, so the count must end where its
 * carriage did. */
static void the_head_is_where_the_drive_model_had_it(void **state)
{
    const struct set *set = traces(state);
    size_t known = 0;
    for (size_t i = 0; i < set->count; i++) {
        const struct trace *t = &set->trace[i];
        const struct bus_story *s = &t->story;
        if (strcmp(t->tap, "drive-end") != 0 || !s->place_known) {
            continue;
        }
        known++;
        assert_int_equal(wires_cylinder(s, t->last_place), number(t, "drive", "end_cylinder"));
        if (s->access_count > 0) {
            assert_int_equal(wires_cylinder(s, s->access[0].place),
                             number(t, "drive", "start_cylinder"));
        }
        assert_int_equal(s->trk00_at_other_place, 0);
        assert_int_equal(s->trk00_missing_at_zero, 0);
        assert_true(s->longest_in_with_trk00 == 0);
    }
    assert_int_equal(known, 14); /* all but the two without TRK00 and the one never selected */
}

static void restores_that_never_find_track_0_run_to_the_chips_limit(void **state)
{
    /* 255 steps: WD177x data sheet, as in the handbook (wd177x.restore). */
    static const char *const FAILING[] = {"carriage-stuck", "trk00-stuck-high", "select-never"};
    static const int TIMES[] = {2, 2, 1};
    const struct set *set = traces(state);
    for (size_t i = 0; i < set->count; i++) {
        const struct bus_story *s = &set->trace[i].story;
        int failed = 0;
        for (size_t k = 0; k < 3; k++) {
            failed += strcmp(set->trace[i].folder, FAILING[k]) == 0 ? TIMES[k] : 0;
        }
        assert_int_equal(s->restores_failed, failed);
        assert_int_equal(s->step_limit_seen, failed > 0 ? 255 : 0);
    }
}

/* The logs say when each command was running; the head must move within one of its seeks or
 * restores. */
static void seeks_lie_within_the_commands_that_asked_for_them(void **state)
{
    const struct set *set = traces(state);
    for (size_t i = 0; i < set->count; i++) {
        const struct trace *t = &set->trace[i];
        json_t *log = json_object_get(t->label, "machine_log");
        for (size_t k = 0; k < t->story.seek_count; k++) {
            double from = (double)t->story.seek[k].start_ns / 1e6;
            double to = (double)t->story.seek[k].end_ns / 1e6;
            bool found = false;
            size_t n = 0;
            json_t *entry = NULL;
            json_array_foreach(log, n, entry)
            {
                found = found ||
                        (json_number_value(json_object_get(entry, "from_ms")) <= from + 0.1 &&
                         json_number_value(json_object_get(entry, "to_ms")) >= to - 0.1);
            }
            assert_true(found);
        }
    }
}

static void lines_of_broken_drives_have_the_states_to_show(void **state)
{
    const struct set *set = traces(state);
    static const struct {
        const char *folder, *tap;
        enum line line;
        enum line_state state;
    } SHOWN[] = {
        {"index-open", "machine-end", LINE_INDEX, LINE_NEVER_ACTIVE},
        {"index-open", "drive-end", LINE_INDEX, LINE_TOGGLES},
        {"select-never", "drive-end", LINE_SELECT0, LINE_NEVER_ACTIVE},
        {"motor-never-starts", "drive-end", LINE_INDEX, LINE_NEVER_ACTIVE},
        {"motor-never-starts", "drive-end", LINE_RDATA, LINE_NEVER_ACTIVE},
        {"step-open-at-track0", "drive-end", LINE_STEP, LINE_NEVER_ACTIVE},
        {"rdata-open", "machine-end", LINE_RDATA, LINE_NEVER_ACTIVE},
        {"trk00-stuck-high", "drive-end", LINE_TRK00, LINE_NEVER_ACTIVE},
        {"dir-open", "drive-end", LINE_DIR, LINE_NEVER_ACTIVE},
        {"dir-open", "machine-end", LINE_DIR, LINE_TOGGLES},
        {"healthy-write-protected", "drive-end", LINE_WPROT, LINE_TOGGLES},
    };
    for (size_t i = 0; i < sizeof SHOWN / sizeof SHOWN[0]; i++) {
        const struct trace *t = trace_of(set, SHOWN[i].folder, SHOWN[i].tap);
        assert_int_equal(t->story.line[SHOWN[i].line].state, SHOWN[i].state);
    }
    for (size_t i = 0; i < set->count; i++) {
        assert_int_equal(set->trace[i].story.pair_count, 0);
        assert_int_equal(set->trace[i].story.line[LINE_DSKCHG].state, LINE_NOT_RECORDED);
        for (size_t k = 0; k < set->trace[i].story.timing_count; k++) {
            /* The core keeps the chip's times, the drive model the drive's. */
            assert_int_equal(set->trace[i].story.timing[k].broken, 0);
        }
    }
}

static void two_taps_differ_in_the_line_that_is_open(void **state)
{
    static const struct {
        const char *folder;
        enum line line;
        enum tap_relation relation;
    } PAIRS[] = {
        {"healthy-9", LINE_NONE, TAP_SAME},
        {"separator-no-lock", LINE_NONE, TAP_SAME},
        {"dir-open", LINE_DIR, TAP_QUIET_DRIVE},
        {"step-open-at-track0", LINE_STEP, TAP_QUIET_DRIVE},
        {"index-open", LINE_INDEX, TAP_QUIET_MACHINE},
        {"rdata-open", LINE_RDATA, TAP_QUIET_MACHINE},
    };
    const struct set *set = traces(state);
    for (size_t i = 0; i < sizeof PAIRS / sizeof PAIRS[0]; i++) {
        for (int same = 0; same < 2; same++) {
            struct tap_compare c;
            assert_int_equal(tap_compare(trace_of(set, PAIRS[i].folder, "machine-end")->edges,
                                         trace_of(set, PAIRS[i].folder, "drive-end")->edges,
                                         set->cable, same != 0, &c),
                             ERR_OK);
            assert_true(c.aligned);
            assert_int_equal(c.offset_ns, 0);
            for (size_t k = 0; k < c.line_count; k++) {
                const struct tap_line *l = &c.line[k];
                assert_int_equal(l->relation == PAIRS[i].relation &&
                                     l->machine_line == PAIRS[i].line,
                                 l->machine_line == PAIRS[i].line);
                assert_true(l->machine_line == PAIRS[i].line || l->relation == TAP_SAME ||
                            l->relation == TAP_NOT_COMPARED);
            }
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(falls_of_every_control_line_agree),
        cmocka_unit_test(steps_and_their_times_agree),
        cmocka_unit_test(the_head_is_where_the_drive_model_had_it),
        cmocka_unit_test(restores_that_never_find_track_0_run_to_the_chips_limit),
        cmocka_unit_test(seeks_lie_within_the_commands_that_asked_for_them),
        cmocka_unit_test(lines_of_broken_drives_have_the_states_to_show),
        cmocka_unit_test(two_taps_differ_in_the_line_that_is_open),
    };
    return cmocka_run_group_tests(tests, load, unload);
}

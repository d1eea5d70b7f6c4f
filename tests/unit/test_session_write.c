/* Writing through a session, on the simulated drive: what was written is read back; and every
 * way to write where one must not is tried. Data, speeds and names are invented. */
#include "unit/adapter_bench.h"
#include "unit/flux_check.h"

#define LINK_CLOSED "adapter.write-link.closed"

static const struct write_permit GOOD = {
    .disk = "scratch 7",
    .typed = "scratch 7",
    .scratch = true,
    .recorded = true,
    .cylinder = 5,
    .wprot_trusted = true,
    .medium_fits = true,
    .turn_low_us = 197000,
    .turn_high_us = 203000,
    .low_mv = {4750, 11400, 0},
    .high_mv = {5250, 12600, 0},
};

/* One turn of a track for the adapter, a little shorter than the disk's. */
static uint32_t *to_deltas(const struct track_made *t, double cell_ns, int64_t hz, size_t *n)
{
    uint32_t *delta = malloc(t->m.count * sizeof *delta);
    uint64_t before = 0;
    assert_non_null(delta);
    *n = 0;
    for (size_t c = 0; c < t->m.count; c++) {
        if (!t->m.cell[c])
            continue;
        uint64_t at = (uint64_t)((double)(c + 1) * cell_ns * (double)hz * 1e-9 + 0.5);
        delta[(*n)++] = (uint32_t)(at - before);
        before = at;
    }
    return delta;
}

static void make_track(struct track_made *t, int sectors, size_t cells)
{
    struct dice d = {77};
    const struct layout l = {.sectors = sectors, .size_code = 2, .gap3 = 80, .cylinder = 5};
    *t = (struct track_made){0};
    make_truth(t, &l, &d);
    make_turn(t, &l, &d, cells);
}

/* A turn and a half of what is under the head now. */
static void read_back(struct adapter_bench *a, struct flux_read *out)
{
    a->falls = 0;
    OK(session_wait(&a->s, 330, &a->e));
    uint32_t *ps = malloc(a->falls * sizeof *ps);
    assert_non_null(ps);
    assert_true(a->falls > 10000);
    for (size_t i = 0; i + 1 < a->falls; i++)
        ps[i] = (uint32_t)((double)(a->fall[i + 1] - a->fall[i]) * 1e12 / (double)a->hz);
    const struct flux flux = {0, ps, a->falls - 1};
    const struct flux_options o = {.sample_ns = 1e9 / (double)a->hz, .keep_bytes = true};
    OK(flux_decode(&flux, &o, out));
    free(ps);
}

static void written_and_read(const char *drive, double cell_ns, int sectors)
{
    struct adapter_bench a;
    struct track_made t;
    struct flux_read r;
    size_t n;
    ab_open(&a, drive, LINK_CLOSED, WIRE_ROLE_AS_MACHINE);
    ab_drive_on(&a);
    ab_seek(&a, 5);
    make_track(&t, sectors, (size_t)(198e6 / cell_ns));
    uint32_t *delta = to_deltas(&t, cell_ns, a.hz, &n);
    enum err err = session_write(&a.s, &GOOD, delta, n, &a.e);
    if (err != ERR_OK)
        fail_msg("%s", a.e.text);
    read_back(&a, &r);
    int good = 0;
    bool seen[MAKE_SECTORS] = {false};
    for (size_t i = 0; i < r.sector_count; i++) {
        const struct sector_read *s = &r.sector[i];
        if (!s->id_good || s->data != FIELD_GOOD || seen[s->sector])
            continue;
        assert_int_equal(s->cylinder, 5);
        assert_true(same_bytes(s, &t));
        seen[s->sector] = true;
        good++;
    }
    assert_int_equal(good, sectors);
    /* and the gate is shut and disarmed */
    struct adapter_status st;
    OK(session_status(&a.s, &st, &a.e));
    assert_int_equal(st.driven & WIRE_BIT(WIRE_WGATE), 0);
    assert_int_equal(st.flags & (STATF_ARMED_ONE | STATF_ARMED_TWO | STATF_WRITING), 0);
    assert_int_equal(a.losses, 0);
    flux_read_release(&r);
    free(delta);
    make_release(&t);
    ab_close(&a);
}

static void test_a_double_density_track_is_written_and_read_back(void **state)
{
    (void)state;
    written_and_read("drive-35-dd", 2000, 9);
}

static void test_a_high_density_track_is_written_and_read_back(void **state)
{
    (void)state;
    written_and_read("drive-35-hd", 1000, 18);
}

/* ---- refused before anything is asked of the device ---- */

static void test_the_permit_must_permit(void **state)
{
    (void)state;
    struct adapter_bench a;
    const uint32_t delta[] = {100, 100};
    struct write_permit p[10];
    for (size_t i = 0; i < 10; i++)
        p[i] = GOOD;
    p[0].scratch = false;
    p[1].disk = p[1].typed = "";
    p[2].disk = p[2].typed = "a name that is longer than it may be";
    p[3].typed = "Scratch 7";
    p[4].typed = NULL;
    p[5].wprot_trusted = false;
    p[6].medium_fits = false;
    p[7].turn_high_us = p[7].turn_low_us - 1;
    p[8].recorded = false; /* no identifier elsewhere, but one here */
    p[8].typed = NULL;
    p[9].disk = NULL;
    ab_open(&a, "drive-35-dd", LINK_CLOSED, WIRE_ROLE_AS_MACHINE);
    ab_drive_on(&a);
    for (size_t i = 0; i < 10; i++) {
        struct err_msg e = {0};
        assert_int_equal(session_write(&a.s, &p[i], delta, 2, &e), ERR_USAGE);
        assert_non_null(strstr(e.text, "nothing is written: "));
    }
    struct err_msg e = {0};
    assert_int_equal(session_write(&a.s, &GOOD, delta, 0, &e), ERR_USAGE);
    ab_close(&a);
}

/* ---- refused because something is not as it must be ---- */

static void refused(struct adapter_bench *a, const struct write_permit *p, const char *why)
{
    static uint32_t delta[20000];
    struct err_msg e = {0};
    for (size_t i = 0; i < 20000; i++)
        delta[i] = 192;
    assert_int_equal(session_write(&a->s, p, delta, 20000, &e), ERR_ADAPTER);
    if (strstr(e.text, why) == NULL)
        fail_msg("'%s' is not said, but '%s'", why, e.text);
    struct adapter_status st;
    OK(session_status(&a->s, &st, &a->e));
    assert_int_equal(st.flags & (STATF_ARMED_ONE | STATF_ARMED_TWO | STATF_WRITING), 0);
    assert_int_equal(st.driven & WIRE_BIT(WIRE_WGATE), 0);
}

static void at_cylinder_5(struct adapter_bench *a, const char *fault)
{
    ab_open(a, "drive-35-dd", fault, WIRE_ROLE_AS_MACHINE);
    ab_drive_on(a);
    ab_seek(a, 5);
}

static void test_identifiers_of_another_cylinder(void **state)
{
    (void)state;
    struct adapter_bench a;
    struct write_permit p = GOOD;
    p.cylinder = 10; /* a disk of half the track density would say so */
    at_cylinder_5(&a, LINK_CLOSED);
    refused(&a, &p, "cylinder 5 by its steps, and the identifiers under it say 10");
    ab_close(&a);
}

static void test_a_speed_out_of_limits(void **state)
{
    (void)state;
    struct adapter_bench a;
    at_cylinder_5(&a, LINK_CLOSED ",drive.speed.slow");
    refused(&a, &GOOD, "speed is out of limits");
    ab_close(&a);
}

static void test_no_index(void **state)
{
    (void)state;
    struct adapter_bench a;
    at_cylinder_5(&a, LINK_CLOSED ",cable.INDEX.open");
    refused(&a, &GOOD, "index does not come round twice");
    ab_close(&a);
}

static void test_a_protected_disk(void **state)
{
    (void)state;
    struct adapter_bench a;
    at_cylinder_5(&a, LINK_CLOSED ",cable.WPROT.short");
    refused(&a, &GOOD, "write protected");
    ab_close(&a);
}

static void test_a_rail_out_of_limits(void **state)
{
    (void)state;
    struct adapter_bench a;
    struct write_permit p = GOOD;
    p.low_mv[WIRE_V12] = 11950; /* 11.9 V while it turns */
    at_cylinder_5(&a, LINK_CLOSED);
    refused(&a, &p, "V12 is at 11.90 V");
    ab_close(&a);
}

static void test_low_current_not_driven(void **state)
{
    (void)state;
    struct adapter_bench a;
    struct write_permit p = GOOD;
    p.low_current = true;
    at_cylinder_5(&a, LINK_CLOSED);
    refused(&a, &p, "LOWCUR is not active");
    ab_close(&a);
}

static void test_two_units_selected(void **state)
{
    (void)state;
    struct adapter_bench a;
    at_cylinder_5(&a, LINK_CLOSED);
    OK(session_drive(&a.s, WIRE_BIT(WIRE_SELECT2), WIRE_BIT(WIRE_SELECT2), &a.e));
    refused(&a, &GOOD, "not exactly one unit is selected");
    ab_close(&a);
}

static void test_the_write_link_open(void **state)
{
    (void)state;
    struct adapter_bench a;
    at_cylinder_5(&a, "none");
    refused(&a, &GOOD, "its write link is open, as shipped");
    ab_close(&a);
}

static void test_a_head_that_nobody_restored(void **state)
{
    (void)state;
    struct adapter_bench a;
    const uint32_t on = WIRE_BIT(WIRE_SELECT0) | WIRE_BIT(WIRE_MOTOR);
    ab_open(&a, "drive-35-dd", LINK_CLOSED, WIRE_ROLE_AS_MACHINE);
    OK(session_wait(&a.s, 2100, &a.e));
    OK(session_drive(&a.s, on, on, &a.e));
    OK(session_wait(&a.s, 1000, &a.e));
    refused(&a, &GOOD, "nobody knows where the head is");
    ab_close(&a);
}

static void test_a_host_that_reads_no_stream_is_refused(void **state)
{
    (void)state;
    struct adapter_bench a;
    struct err_msg e = {0};
    const uint32_t delta[] = {100, 100};
    at_cylinder_5(&a, LINK_CLOSED);
    OK(session_stop(&a.s, &a.e));
    assert_int_equal(session_write(&a.s, &GOOD, delta, 2, &e), ERR_ADAPTER);
    assert_non_null(strstr(e.text, "no stream tells of the index"));
    ab_close(&a);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_double_density_track_is_written_and_read_back),
        cmocka_unit_test(test_a_high_density_track_is_written_and_read_back),
        cmocka_unit_test(test_the_permit_must_permit),
        cmocka_unit_test(test_identifiers_of_another_cylinder),
        cmocka_unit_test(test_a_speed_out_of_limits),
        cmocka_unit_test(test_no_index),
        cmocka_unit_test(test_a_protected_disk),
        cmocka_unit_test(test_a_rail_out_of_limits),
        cmocka_unit_test(test_low_current_not_driven),
        cmocka_unit_test(test_two_units_selected),
        cmocka_unit_test(test_the_write_link_open),
        cmocka_unit_test(test_a_head_that_nobody_restored),
        cmocka_unit_test(test_a_host_that_reads_no_stream_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

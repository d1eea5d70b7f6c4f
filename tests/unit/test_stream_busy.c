/* A stream full of read pulses: rails and levels are told all the same, and steps amid them
 * break no frame. */
#include "accept/drive_limits.h"
#include "adapter/session.h"
#include "sim/sim_link.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

struct heard {
    unsigned rails, losses;
};

static enum err on_rails(void *ctx, uint64_t tick, const int32_t mv[WIRE_RAILS],
                         struct err_msg *e)
{
    struct heard *h = ctx;
    (void)tick;
    (void)mv;
    (void)e;
    h->rails++;
    return ERR_OK;
}

static enum err on_lost(void *ctx, const struct frame_loss *loss, struct err_msg *e)
{
    struct heard *h = ctx;
    (void)loss;
    (void)e;
    h->losses++;
    return ERR_OK;
}

static void busy_stream_tells_rails_and_steps_break_nothing(void **state)
{
    struct err_msg e = {0};
    struct profile_path *path = NULL;
    struct profile *drive = NULL;
    struct profile *machine = NULL;
    struct profile *cable = NULL;
    struct heard h = {0};
    struct link link = {0};
    struct session s = {0};
    int cylinder = -1;
    bool pulled = false;
    (void)state;
    assert_int_equal(profile_path_make(TEST_SOURCE_DIR "/profiles", &path, &e), ERR_OK);
    assert_int_equal(profile_load(path, PROFILE_DRIVE, "drive-525-hd", &drive, &e), ERR_OK);
    assert_int_equal(profile_load(path, PROFILE_CONTROLLER, "controller-generic", &machine, &e),
                     ERR_OK);
    assert_int_equal(profile_load(path, PROFILE_CABLE, "ribbon-34-straight", &cable, &e),
                     ERR_OK);
    struct sim_options o = {.machine = machine, .drive = drive, .cable = cable, .seed = 1};
    const struct frame_sink sink = {.ctx = &h, .lost = on_lost, .rails = on_rails};
    const struct adapter_limits limits = drive_limits(drive);
    uint32_t on = WIRE_BIT(WIRE_SELECT0) | WIRE_BIT(WIRE_MOTOR);
    assert_int_equal(sim_link_open("none", &o, &link, &e), ERR_OK);
    assert_int_equal(session_open(&s, &link, &e), ERR_OK);
    assert_int_equal(session_role(&s, WIRE_ROLE_AS_MACHINE, 0, &e), ERR_OK);
    assert_int_equal(session_limits(&s, &limits, &e), ERR_OK);
    assert_int_equal(session_pull_ups(&s, &pulled, &e), ERR_OK);
    assert_int_equal(session_wait(&s, 2100, &e), ERR_OK);
    assert_int_equal(session_drive(&s, on, on, &e), ERR_OK);
    assert_int_equal(session_wait(&s, 1000, &e), ERR_OK);
    assert_int_equal(session_start(&s, WIRE_ALL, &sink, &e), ERR_OK);
    assert_int_equal(session_step(&s, true, 80, &cylinder, &e), ERR_OK);
    for (int i = 0; i < 240; i++) {
        assert_int_equal(session_step(&s, i % 2 == 1, 1, &cylinder, &e), ERR_OK);
        assert_int_equal(session_wait(&s, 5, &e), ERR_OK);
    }
    unsigned before = h.rails;
    assert_int_equal(session_wait(&s, 2000, &e), ERR_OK);
    assert_true(h.rails >= before + 18); /* ten a second */
    assert_int_equal(session_stop(&s, &e), ERR_OK);
    assert_int_equal(h.losses, 0);
    assert_int_equal(s.frames.damaged, 0);
    session_close(&s);
    profile_free(drive);
    profile_free(machine);
    profile_free(cable);
    profile_path_free(path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(busy_stream_tells_rails_and_steps_break_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

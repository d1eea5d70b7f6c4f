#include "cli/adjust.h"
#include "report/json.h"
#include "report/text.h"
#include "signal/turn_window.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define TURNS_OF_MEAN 10
#define TURNS_SCRIPT  50   /* where nobody is there to end it */
#define SILENT_MS     8000 /* at speed, and no index: nothing to show to a script */
#define BAR_HALF      16   /* columns from the aim to the bar's end: twice the limit */

struct limits {
    double aim, min, max;      /* the maker's */
    double shop_min, shop_max; /* 0: none */
};

struct speed {
    struct adjust *j;
    struct tick tick;
    struct turn_window window;
    bool low; /* INDEX, now */
    bool known;
    struct turn_figures first, now;
    bool has_first, has_now;
    struct limits limits; /* nearest to the speed seen */
    unsigned shown;       /* turns, at the last live line */
};

/* ---- events ---- */

static enum err on_edge(void *ctx, uint64_t tick, enum line line, enum level level,
                        struct err_msg *e)
{
    struct speed *v = ctx;
    int64_t ns = 0;
    bool fell = line == LINE_INDEX && level == LEVEL_LOW && v->known && !v->low;
    (void)e;
    if (line == LINE_INDEX) {
        v->low = level == LEVEL_LOW;
        v->known = true;
    }
    if (fell && ticks_to_ns((int64_t)tick, v->tick, &ns))
        (void)turn_window_add(&v->window, ns);
    return ERR_OK;
}

static enum err on_lost(void *ctx, const struct frame_loss *loss, struct err_msg *e)
{
    struct speed *v = ctx;
    (void)loss;
    (void)e;
    v->known = false;
    v->window.falls = 0; /* no turn spans the hole */
    return ERR_OK;
}

/* ---- what is aimed at ---- */

static struct limits limits_of(const struct profile *d, const char *key, const char *shop)
{
    const struct limit *l = profile_limit(d, key);
    struct limits x = {.aim = profile_number(d, key, 0)};
    x.min = l != NULL && l->has_min ? l->min : 0.985 * x.aim;
    x.max = l != NULL && l->has_max ? l->max : 1.015 * x.aim;
    if (shop != NULL && profile_limit(d, shop) != NULL) {
        x.shop_min = profile_min(d, shop, 0);
        x.shop_max = profile_max(d, shop, 0);
    }
    return x;
}

static void choose_limits(struct speed *v)
{
    const struct profile *d = v->j->u.drive;
    struct limits low = limits_of(d, "speed_low_rpm", NULL);
    v->limits = limits_of(d, "speed_rpm", "speed_accept_rpm");
    if (low.aim > 0 && v->has_now &&
        fabs(v->now.rpm - low.aim) < fabs(v->now.rpm - v->limits.aim))
        v->limits = low;
}

static const char *state_of(const struct speed *v)
{
    const struct limits *l = &v->limits;
    double rpm = v->now.rpm;
    if (!v->has_now)
        return "not measured";
    if (rpm < l->min)
        return "too slow";
    if (rpm > l->max)
        return "too fast";
    if (l->shop_min > 0 && (rpm < l->shop_min || rpm > l->shop_max))
        return "inside the maker's limit, outside the shop's";
    return l->shop_min > 0 ? "inside the shop's limit" : "inside the maker's limit";
}

/* ---- the bar ---- */

static int place(const struct limits *l, double rpm)
{
    double share = (rpm - l->aim) / (l->max - l->aim);
    double at = BAR_HALF + share * BAR_HALF / 2;
    return at < 0 ? 0 : at > 2 * BAR_HALF ? 2 * BAR_HALF : (int)lround(at);
}

/* Limits of the maker [ ], of the shop ( ), the aim |, the speed O; < > where it is off the
 * bar. */
static void bar(const struct speed *v, char out[2 * BAR_HALF + 2])
{
    const struct limits *l = &v->limits;
    memset(out, '.', 2 * BAR_HALF + 1);
    out[2 * BAR_HALF + 1] = '\0';
    out[place(l, l->min)] = '[';
    out[place(l, l->max)] = ']';
    if (l->shop_min > 0) {
        out[place(l, l->shop_min)] = '(';
        out[place(l, l->shop_max)] = ')';
    }
    out[BAR_HALF] = '|';
    if (!v->has_now)
        return;
    int at = place(l, v->now.rpm);
    bool off = fabs(v->now.rpm - l->aim) > 2 * (l->max - l->aim);
    out[at] = off ? (at == 0 ? '<' : '>') : 'O';
}

static void trend_words(const struct turn_figures *f, char out[48])
{
    if (f->steady || fabs(f->trend_rpm_s) < 0.005)
        (void)snprintf(out, 48, "steady");
    else
        (void)snprintf(out, 48, "%s %.2f a second", f->trend_rpm_s > 0 ? "rising" : "falling",
                       fabs(f->trend_rpm_s));
}

static void show_live(struct speed *v)
{
    char b[2 * BAR_HALF + 2];
    char trend[48];
    if (!v->j->live || v->window.turns == v->shown)
        return;
    v->shown = v->window.turns;
    if (!v->has_now) {
        (void)fputs("\r\033[Kwaiting for turns", stderr);
        return;
    }
    bar(v, b);
    trend_words(&v->now, trend);
    (void)fprintf(stderr, "\r\033[K%7.2f rpm +/- %.2f  %-20s %s", v->now.rpm,
                  v->now.uncertainty_rpm, trend, b);
}

/* ---- the run ---- */

static void figures(struct speed *v)
{
    v->has_now = turn_window_figures(&v->window, TURNS_OF_MEAN, &v->now);
    if (v->has_now && !v->has_first) {
        v->first = v->now;
        v->has_first = true;
    }
    choose_limits(v);
    show_live(v);
}

static int64_t now_ms(const struct speed *v)
{
    const struct link *l = &v->j->u.session.link;
    return l->ops->now_ms(l->state);
}

static enum err watch(struct speed *v, struct err_msg *e)
{
    struct adjust *j = v->j;
    bool person = j->live && j->turns == 0 && j->seconds == 0;
    int64_t turns = j->turns > 0 || j->seconds > 0 || person ? j->turns : TURNS_SCRIPT;
    int64_t begun = now_ms(v);
    int64_t turned = begun;
    unsigned seen = 0;
    while (!adjust_ended()) {
        int64_t now = now_ms(v);
        if ((turns > 0 && v->window.turns >= turns) ||
            (j->seconds > 0 && now - begun >= 1000 * j->seconds) ||
            (!person && now - turned >= SILENT_MS))
            break;
        TRY(session_wait(&j->u.session, 20, e));
        TRY(adjust_held(j, e));
        if (v->window.turns == seen)
            continue;
        seen = v->window.turns;
        turned = now_ms(v);
        figures(v);
    }
    if (j->live)
        (void)fputs("\r\033[K", stderr);
    return ERR_OK;
}

/* Until two turns on end agree within 1 %: what comes before is the motor's start. */
static enum err up_to_speed(struct speed *v, struct err_msg *e)
{
    TRY(adapter_use_drive_on(&v->j->u, e));
    TRY(adapter_use_spin_up(&v->j->u, e));
    TRY(adjust_held(v->j, e));
    v->window.falls = 0;
    v->window.turns = v->window.odd = 0;
    return ERR_OK;
}

/* ---- text and JSON ---- */

static const char *const cautions[] = {
    "mark where the trimmer stands before you turn it; insulated, non-magnetic tool",
    "a trimmer on a servo board is not always speed: if the first eighth of a turn does "
    "nothing, put it back",
    "belt, pulley and, in 8-inch drives, mains: keep fingers and sleeves away while it turns; "
    "local codes and licensed practice stand above these hints",
};

static enum err next_text(const struct speed *v, const struct text_style *s, struct buf *out)
{
    bool mains = profile_has_word(v->j->u.drive, "spindle_power", "mains");
    bool off = v->has_now && (v->now.rpm < v->limits.min || v->now.rpm > v->limits.max);
    if (!off && v->has_now)
        return ERR_OK;
    TRY(text_heading(out, s, "What to do next"));
    if (!v->has_now)
        return text_wrap(
            out, 2, "-", 4,
            "no INDEX came: is a disk in, right way up, the lever closed, the unit "
            "strapped as selected? whichend record --role as-machine takes what the "
            "drive says");
    if (mains)
        return text_wrap(out, 2, "-", 4,
                         "mains turn this spindle: there is no trimmer. Pulley for the other "
                         "mains frequency, a slipping belt, or a dry bearing");
    return text_wrap(out, 2, "-", 4,
                     "before the trimmer: a worn belt, a dry bearing or a supply that sags is "
                     "no matter of trim; after it, the whole test again");
}

static enum err say_text(const struct speed *v, struct buf *out)
{
    struct text_style style = style_of(v->j->a);
    const struct limits *l = &v->limits;
    char b[2 * BAR_HALF + 2];
    char trend[48];
    bool bad = v->has_now && (v->now.rpm < l->min || v->now.rpm > l->max);
    char answer[160];
    if (v->has_now)
        (void)snprintf(answer, sizeof answer, "%.2f rpm +/- %.2f, %s", v->now.rpm,
                       v->now.uncertainty_rpm, state_of(v));
    else
        (void)snprintf(answer, sizeof answer, "not measured");
    TRY(text_tinted(out, &style,
                    bad          ? TINT_BAD
                    : v->has_now ? TINT_GOOD
                                 : TINT_WARN,
                    0, "Speed:", 7, answer));
    bar(v, b);
    TRY(buf_printf(out, "  %s\n", b));
    TRY(text_wrapf(out, 2, "aim", 14, "%g rpm; maker's limit %g to %g", l->aim, l->min,
                   l->max));
    if (l->shop_min > 0)
        TRY(text_wrapf(out, 14, "", 14, "shop's limit %g to %g", l->shop_min, l->shop_max));
    if (v->has_now) {
        trend_words(&v->now, trend);
        TRY(text_wrapf(out, 2, "mean of", 14, "the last %u of %u turns", v->now.turns,
                       v->window.turns));
        TRY(text_wrapf(out, 2, "trend", 14, "%s (+/- %.3f rpm a second)", trend,
                       v->now.trend_uncertainty_rpm_s));
        TRY(text_wrapf(out, 2, "began at", 14, "%.2f rpm", v->first.rpm));
    }
    if (v->window.odd > 0)
        TRY(text_wrapf(out, 2, "passed over", 14, "%u intervals that were no turn",
                       v->window.odd));
    TRY(next_text(v, &style, out));
    TRY(text_heading(out, &style, "Cautions"));
    for (size_t i = 0; i < sizeof cautions / sizeof cautions[0]; i++)
        TRY(text_wrap(out, 2, "-", 4, cautions[i]));
    return ERR_OK;
}

static json_t *range_json(double min, double max, bool *failed)
{
    json_t *o = min > 0 ? json_object() : json_null();
    if (min > 0) {
        json_put(o, "min", json_number(min, 3), failed);
        json_put(o, "max", json_number(max, 3), failed);
    }
    return o;
}

static enum err say_json(const struct speed *v, struct buf *out)
{
    bool failed = false;
    bool has = v->has_now;
    json_t *root = json_object();
    json_t *list = json_array();
    for (size_t i = 0; i < sizeof cautions / sizeof cautions[0]; i++)
        json_push(list, json_text(cautions[i]), &failed);
    json_put(root, "schema", json_text("whichend.adjust/1"), &failed);
    json_put(root, "adapter", json_text(v->j->u.session.link.name), &failed);
    json_put(root, "what", json_text("speed"), &failed);
    json_put(root, "drive", json_text(profile_name(v->j->u.drive)), &failed);
    json_put(root, "state", json_text(state_of(v)), &failed);
    json_put(root, "rpm", json_number_if(has, v->now.rpm, 3), &failed);
    json_put(root, "uncertainty_rpm", json_number_if(has, v->now.uncertainty_rpm, 4), &failed);
    json_put(root, "mean_of_turns", has ? json_integer(v->now.turns) : json_null(), &failed);
    json_put(root, "turns", json_integer(v->window.turns), &failed);
    json_put(root, "no_turns", json_integer(v->window.odd), &failed);
    json_put(root, "trend_rpm_per_s", json_number_if(has, v->now.trend_rpm_s, 4), &failed);
    json_put(root, "trend_uncertainty_rpm_per_s",
             json_number_if(has, v->now.trend_uncertainty_rpm_s, 4), &failed);
    json_put(root, "steady", has ? json_boolean(v->now.steady) : json_null(), &failed);
    json_put(root, "began_rpm", json_number_if(v->has_first, v->first.rpm, 3), &failed);
    json_put(root, "aim_rpm", json_number(v->limits.aim, 3), &failed);
    json_put(root, "maker", range_json(v->limits.min, v->limits.max, &failed), &failed);
    json_put(root, "shop", range_json(v->limits.shop_min, v->limits.shop_max, &failed),
             &failed);
    json_put(root, "cautions", list, &failed);
    return json_finish(root, failed, out);
}

static enum err run(struct speed *v, struct err_msg *e)
{
    struct adjust *j = v->j;
    const struct frame_sink sink = {v, on_edge, on_lost, NULL, NULL};
    TRY(adjust_begin(j, WIRE_BIT(WIRE_INDEX), &sink, e));
    if (!stop_asked)
        TRY(adapter_use_ask(&j->u, "Nobody else is on the bus. Disk in, lever closed?", e));
    if (!stop_asked)
        TRY(up_to_speed(v, e));
    if (j->live)
        (void)fputs("The aim is the middle of the bar. Enter ends it.\n", stderr);
    return watch(v, e);
}

enum err adjust_speed(struct adjust *j, struct buf *out, int *status, struct err_msg *e)
{
    struct speed v = {.j = j, .tick = session_tick(&j->u.session)};
    double rated = profile_number(j->u.drive, "speed_rpm", 0);
    if (rated <= 0)
        return err_set(e, ERR_USAGE, "%s has no fixed speed to aim at",
                       profile_name(j->u.drive));
    turn_window_begin(&v.window, rated, profile_number(j->u.drive, "speed_low_rpm", 0));
    choose_limits(&v);
    enum err err = run(&v, e);
    TRY(adjust_end(j, err, e));
    bool out_of = v.has_now && (v.now.rpm < v.limits.min || v.now.rpm > v.limits.max);
    *status = !v.has_now ? EXIT_UNDECIDED : out_of ? EXIT_FAULT : 0;
    err = args_has(j->a, OPT_JSON) ? say_json(&v, out) : say_text(&v, out);
    return err == ERR_OK ? ERR_OK : err_set(e, err, "out of memory");
}

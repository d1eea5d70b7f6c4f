/* What the drive's profile says to the figures: the limits to show beside them, and what a line
 * in the spectrum of speed may come from. */
#include "evidence/survey_private.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define CAUSE_KEYS "spectrum_"
#define APART      0.1 /* swings a turn by which a worn part may miss its figure */

static void cause_add(struct speed_causes *c, const struct limit *l)
{
    if (c->count == CAUSES_MAX) {
        return;
    }
    (void)snprintf(c->text[c->count], sizeof c->text[0], "%s",
                   l->note != NULL ? l->note : l->key);
    (void)snprintf(c->source[c->count], sizeof c->source[0], "%s",
                   l->source != NULL ? l->source : "profile");
    c->count++;
}

static void causes(const struct profile *drive, struct speed_figures *f)
{
    const struct limit *all = NULL;
    size_t count = profile_limits(drive, &all);
    for (size_t i = 0; i < f->middle.lines; i++) {
        const struct speed_line *line = &f->middle.line[i];
        for (size_t k = 0; k < count; k++) {
            const struct limit *l = &all[k];
            bool hz = strcmp(l->unit, "Hz") == 0;
            double at = hz ? line->hz : line->orders;
            double apart = hz ? 0 : APART;
            if (strncmp(l->key, CAUSE_KEYS, strlen(CAUSE_KEYS)) == 0 && l->has_min &&
                l->has_max && at >= l->min - apart && at <= l->max + apart &&
                !(hz && line->locked)) {
                cause_add(&f->cause[i], l);
            }
        }
    }
}

void figures_profile(const struct profile *drive, struct survey *s)
{
    static const char *const KEY[FIGURE_LIMITS] = {
        [LIMIT_SPEED] = "speed_rpm",
        [LIMIT_ISV] = "isv_percent",
        [LIMIT_MARGIN] = "window_margin_ns",
        [LIMIT_ASYMMETRY] = "asymmetry_ns",
    };
    static const char *const UNIT[FIGURE_LIMITS] = {"rpm", "percent", "ns", "ns"};
    for (int i = 0; i < FIGURE_LIMITS; i++) {
        const struct limit *l = profile_limit(drive, KEY[i]);
        if (l == NULL) {
            continue;
        }
        struct figure_limit *f = &s->limit[i];
        *f = (struct figure_limit){l->has_min, l->has_max, l->min, l->max, UNIT[i], ""};
        (void)snprintf(f->source, sizeof f->source, "%s", l->source != NULL ? l->source : "");
    }
    if (drive != NULL) {
        causes(drive, &s->speed);
    }
}

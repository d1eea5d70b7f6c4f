/* Figures of speed and of the read signal, for measure's two forms. */
#ifndef WHICHEND_REPORT_MEASURE_H
#define WHICHEND_REPORT_MEASURE_H

#include "report/json.h"
#include "report/report.h"
#include "report/text.h"

#define MEASURE_HANG 12  /* column at which the text of a heading's line starts */
#define MEASURE_SURE 2.0 /* standard deviations behind what people are told as +/-: 95 % */

enum err measure_speed_text(const struct survey *s, struct buf *out);
enum err measure_signal_text(const struct survey *s, struct buf *out);
/* Sectors by cylinder. */
enum err measure_tracks_text(const struct survey *s, const struct text_style *st,
                             struct buf *out);
/* The read signal by angle, and by cylinder where more than one place was seen. */
enum err measure_places_text(const struct survey *s, const struct text_style *st,
                             struct buf *out);

/* How many intervals jitter alone makes too short for the code, or too long: at most this. */
double measure_odd_by_jitter(const struct survey *s);

/* "speed": by index, sectors and bit clock; variation and its lines. null with no figure. */
json_t *measure_speed_json(const struct survey *s, bool *failed);
/* Further keys of "flux". */
void measure_signal_json(const struct survey *s, json_t *flux, bool *failed);
/* "places" and "angles". */
json_t *measure_places_json(const struct survey *s, bool *failed);
json_t *measure_angles_json(const struct survey *s, bool *failed);

/* Drives' limits as text: "295.5 to 304.5 rpm (source)"; "" where the profile has none. */
#define LIMIT_TEXT_MAX 200
const char *measure_limit(const struct survey *s, enum figure_limit_of which,
                          char out[LIMIT_TEXT_MAX]);

#endif

/* What the curve of speed and its lines share. */
#ifndef WHICHEND_SIGNAL_SPEED_PRIVATE_H
#define WHICHEND_SIGNAL_SPEED_PRIVATE_H

#include "signal/speed.h"

/* Evens out the points of a curve, a point and two on either side, and takes back what their
 * width takes away: flat to ten swings a turn within half a percent. By its form: sum 1,
 * curvature that of 1 / sinc, 0.1 at the end. */
static const double SPEED_EVEN[3] = {0.68333, 0.225, -0.066667};

#endif

/* What a drive's profile allows an adapter that stands in for the machine. */
#ifndef WHICHEND_ACCEPT_DRIVE_LIMITS_H
#define WHICHEND_ACCEPT_DRIVE_LIMITS_H

#include "adapter/session.h"
#include "profile/profile.h"

struct adapter_limits drive_limits(const struct profile *drive);
/* A turn, at the lower speed of a drive that has two, and a little more. */
int drive_turn_ms(const struct profile *drive);

#endif

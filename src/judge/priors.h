/* Private to src/judge: what a shop's own closed cases do to the shares of the ends.
 */
#ifndef WHICHEND_JUDGE_PRIORS_H
#define WHICHEND_JUDGE_PRIORS_H

#include "evidence/finding.h"
#include "profile/profile.h"

/* share' = (20 share + closed) / (20 + all closed), from profiles/priors.ini; without that file
 * nothing changes. share need not sum to 1 before; it does after. ERR_FORMAT with file and
 * place. */
enum err priors_tilt(const struct profile_path *path, double share[END_COUNT],
                     struct err_msg *e);

#endif

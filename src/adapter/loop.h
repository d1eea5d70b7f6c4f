/* The loop plug of role `loop`: it joins the far ends of the adapter's leads in threes, in the
 * order of line numbers; what is left over joins the last three. With three, a lead that is
 * open is told from its neighbours: two of the three still see each other. */
#ifndef WHICHEND_ADAPTER_LOOP_H
#define WHICHEND_ADAPTER_LOOP_H

#include <stdint.h>

/* Which group a line of the set belongs to, from 0. */
static inline unsigned loop_group(uint32_t lines, unsigned line)
{
    unsigned count = 0;
    unsigned before = 0;
    for (unsigned i = 0; i < 32; i++) {
        count += lines >> i & 1u;
        before += i < line ? lines >> i & 1u : 0;
    }
    unsigned groups = count / 3 > 0 ? count / 3 : 1;
    unsigned group = before / 3;
    return group < groups ? group : groups - 1;
}

#endif

/* The loop plug of role `loop`: it joins the far ends of the adapter's leads in threes, each
 * with those a third and two thirds of the leads further on in the order of line numbers; what
 * is left over makes some threes fours. With three, a lead that is open is told from its
 * fellows: two of the three still see each other. Leads that lie side by side never meet in one
 * three, so that two neighbours exchanged are seen. */
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
    return before % groups;
}

#endif

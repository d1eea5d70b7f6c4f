#include "adapter/cable_walk.h"

static bool high(const uint8_t levels[PIN_LEVELS_BYTES], unsigned node)
{
    return (levels[node / 8] >> (node % 8) & 1u) != 0;
}

/* Pull one pin and see who follows. One that is low before or after is held by something else:
 * what it did meanwhile says nothing. */
static enum err one_pin(struct session *s, const struct cable_plan *plan, unsigned plug,
                        unsigned pin, struct cable_seen *seen, uint8_t *idle, struct err_msg *e)
{
    uint8_t pulled[PIN_LEVELS_BYTES];
    uint8_t after[PIN_LEVELS_BYTES];
    unsigned own = cable_node(plug, pin);
    TRY(session_pin(s, plug, pin, true, e));
    TRY(session_pin_levels(s, pulled, e));
    TRY(session_pin(s, plug, pin, false, e));
    TRY(session_pin_levels(s, after, e));
    for (unsigned p = 0; p < 2; p++)
        for (unsigned q = 1; q <= plan->pins[p]; q++) {
            unsigned n = cable_node(p, q);
            bool held = !high(idle, n) || !high(after, n);
            seen->low[own][n] += !held && !high(pulled, n);
        }
    for (unsigned i = 0; i < PIN_LEVELS_BYTES; i++)
        idle[i] = after[i];
    return ERR_OK;
}

enum err cable_walk(struct session *s, const struct cable_plan *plan, struct cable_seen *seen,
                    struct err_msg *e)
{
    uint8_t idle[PIN_LEVELS_BYTES];
    if (s->caps.pins[0] != plan->pins[0] || s->caps.pins[1] != plan->pins[1])
        return err_set(e, ERR_ADAPTER,
                       "%s: the adapter's plugs have %u and %u pins, this cable's %u and %u",
                       s->link.name, s->caps.pins[0], s->caps.pins[1], plan->pins[0],
                       plan->pins[1]);
    TRY(session_pin_levels(s, idle, e));
    for (unsigned p = 0; p < 2; p++)
        for (unsigned q = 1; q <= plan->pins[p]; q++)
            seen->idle[cable_node(p, q)] += !high(idle, cable_node(p, q));
    for (unsigned p = 0; p < 2; p++)
        for (unsigned q = 1; q <= plan->pins[p]; q++)
            if (cable_is_walked(plan, p, q))
                TRY(one_pin(s, plan, p, q, seen, idle, e));
    seen->passes++;
    return ERR_OK;
}

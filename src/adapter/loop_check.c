#include "adapter/loop_check.h"

#include "adapter/loop.h"

#include <string.h>

uint32_t loop_fellows(uint32_t lines, unsigned line)
{
    uint32_t set = 0;
    for (unsigned l = 0; l < WIRE_LINES; l++)
        if ((lines & WIRE_BIT(l)) != 0 && loop_group(lines, l) == loop_group(lines, line))
            set |= WIRE_BIT(l);
    return set;
}

/* ---- the walk ---- */

static enum err levels(struct session *s, uint32_t lines, uint32_t *low, struct err_msg *e)
{
    struct adapter_status st;
    TRY(session_status(s, &st, e));
    *low = lines & ~st.levels;
    return ERR_OK;
}

static enum err one_line(struct session *s, struct loop_seen *seen, unsigned line,
                         uint32_t *idle, struct err_msg *e)
{
    uint32_t pulled = 0;
    uint32_t after = 0;
    TRY(session_drive(s, WIRE_BIT(line), WIRE_BIT(line), e));
    TRY(levels(s, seen->lines, &pulled, e));
    TRY(session_drive(s, WIRE_BIT(line), 0, e));
    TRY(levels(s, seen->lines, &after, e));
    uint32_t follow = pulled & ~*idle & ~after;
    for (unsigned l = 0; l < WIRE_LINES; l++)
        seen->low[line][l] += follow >> l & 1u;
    *idle = after;
    return ERR_OK;
}

enum err loop_walk(struct session *s, struct loop_seen *seen, struct err_msg *e)
{
    uint32_t idle = 0;
    seen->lines = s->caps.lines_out & s->caps.lines_in;
    seen->driven = seen->lines;
    if (!(s->caps.flags & CAPF_WRITE_LINK))
        seen->driven &= ~WIRE_BIT(WIRE_WGATE);
    TRY(levels(s, seen->lines, &idle, e));
    for (unsigned l = 0; l < WIRE_LINES; l++)
        seen->idle[l] += idle >> l & 1u;
    for (unsigned l = 0; l < WIRE_LINES; l++)
        if (seen->driven & WIRE_BIT(l))
            TRY(one_line(s, seen, l, &idle, e));
    seen->passes++;
    return ERR_OK;
}

/* ---- what it says ---- */

struct facts {
    uint32_t held;               /* low all the time, or at times */
    uint32_t self;               /* low when pulled by itself */
    uint32_t meets[WIRE_LINES];  /* hangs together with these others, ever */
    uint32_t always[WIRE_LINES]; /* with these in every look */
};

static void together(const struct loop_seen *s, unsigned a, unsigned b, struct facts *f)
{
    uint32_t seen = s->low[a][b] + s->low[b][a];
    uint32_t of = s->passes * ((s->driven >> a & 1u) + (s->driven >> b & 1u));
    if (seen > 0)
        f->meets[a] |= WIRE_BIT(b);
    if (seen >= of && seen > 0)
        f->always[a] |= WIRE_BIT(b);
}

static void take_facts(const struct loop_seen *s, struct facts *f)
{
    memset(f, 0, sizeof *f);
    for (unsigned a = 0; a < WIRE_LINES; a++) {
        if (!(s->lines & WIRE_BIT(a)))
            continue;
        f->held |= s->idle[a] > 0 ? WIRE_BIT(a) : 0;
        f->self |= s->low[a][a] > 0 ? WIRE_BIT(a) : 0;
        for (unsigned b = 0; b < WIRE_LINES; b++)
            if (b != a && (s->lines & WIRE_BIT(b)))
                together(s, a, b, f);
    }
}

static struct loop_fault *add(struct loop_reading *out, enum loop_fault_kind kind,
                              uint32_t lines, uint32_t others)
{
    size_t at = out->faults < WIRE_LINES ? out->faults++ : WIRE_LINES - 1;
    out->fault[at] = (struct loop_fault){.kind = kind, .lines = lines, .others = others};
    return &out->fault[at];
}

static unsigned lowest(uint32_t set)
{
    unsigned l = 0;
    while (l < WIRE_LINES && !(set >> l & 1u))
        l++;
    return l;
}

/* Lines that are low with nothing pulled; returns those that nothing more can be said of. */
static uint32_t held_lines(const struct loop_seen *s, const struct facts *f,
                           struct loop_reading *out)
{
    uint32_t done = 0;
    for (uint32_t left = f->held; left != 0; left &= ~done) {
        uint32_t three = loop_fellows(s->lines, lowest(left));
        bool all = (three & ~f->held) == 0;
        uint32_t mine = all ? three : WIRE_BIT(lowest(left));
        struct loop_fault *x = add(out, all ? LOOP_HELD : LOOP_INPUT_STUCK, mine, 0);
        x->at_times = s->idle[lowest(mine)] < s->passes;
        done |= mine;
    }
    return done;
}

/* Does l pull somebody else, does somebody else pull l? */
static bool pulls_others(const struct loop_seen *s, unsigned l)
{
    for (unsigned k = 0; k < WIRE_LINES; k++)
        if (k != l && s->low[l][k] > 0)
            return true;
    return false;
}

static bool follows_others(const struct loop_seen *s, unsigned l)
{
    for (unsigned k = 0; k < WIRE_LINES; k++)
        if (k != l && s->low[k][l] > 0)
            return true;
    return false;
}

/* A line that hangs together with nobody: why? */
static enum loop_fault_kind lonely(const struct loop_seen *s, const struct facts *f, unsigned l)
{
    if (!(s->driven & WIRE_BIT(l)))
        return LOOP_NOT_HEARD;
    return f->self & WIRE_BIT(l) ? LOOP_LEAD_OPEN : LOOP_LINE_DEAD;
}

static void placed_wrongly(const struct loop_seen *s, const struct facts *f, unsigned l,
                           uint32_t *done, struct loop_reading *out)
{
    uint32_t there = loop_fellows(s->lines, lowest(f->meets[l]));
    uint32_t here = loop_fellows(s->lines, l);
    for (unsigned k = 0; k < WIRE_LINES; k++)
        if ((there & WIRE_BIT(k)) && !(*done & WIRE_BIT(k)) && f->meets[k] != 0 &&
            (f->meets[k] & ~here) == 0) {
            (void)add(out, LOOP_LEADS_SWAPPED, WIRE_BIT(l) | WIRE_BIT(k), 0);
            *done |= WIRE_BIT(k);
            return;
        }
    (void)add(out, LOOP_LEAD_MISPLACED, WIRE_BIT(l), there);
}

/* Contact with all of its fellows is lost at times, which they do not lose with one another. */
static bool loose(const struct facts *f, unsigned l, uint32_t fellows)
{
    uint32_t others = fellows & ~WIRE_BIT(l);
    if ((f->meets[l] & others) != others || (f->always[l] & others) != 0)
        return false;
    if (others == 0)
        return false;
    unsigned one = lowest(others);
    return (f->always[one] & (others & ~WIRE_BIT(one))) != 0;
}

static void one_reading(const struct loop_seen *s, const struct facts *f, unsigned l,
                        uint32_t *done, struct loop_reading *out)
{
    uint32_t fellows = loop_fellows(s->lines, l);
    uint32_t others = fellows & ~WIRE_BIT(l) & ~f->held;
    bool tried = (s->driven & WIRE_BIT(l)) != 0;
    *done |= WIRE_BIT(l);
    if (f->meets[l] == 0)
        (void)add(out, lonely(s, f, l), WIRE_BIT(l), 0);
    else if ((f->meets[l] & fellows) == 0)
        placed_wrongly(s, f, l, done, out);
    else if (tried && !pulls_others(s, l))
        (void)add(out, LOOP_OUTPUT_DEAD, WIRE_BIT(l), 0);
    else if (others != 0 && !follows_others(s, l) && !(f->self & WIRE_BIT(l)))
        (void)add(out, LOOP_INPUT_DEAD, WIRE_BIT(l), 0);
    else if (loose(f, l, fellows))
        add(out, LOOP_LEAD_OPEN, WIRE_BIT(l), 0)->at_times = true;
}

/* Two threes of which everybody meets everybody. */
static uint32_t touching(const struct loop_seen *s, const struct facts *f,
                         struct loop_reading *out)
{
    uint32_t done = 0;
    for (unsigned l = 0; l < WIRE_LINES; l++) {
        uint32_t here = loop_fellows(s->lines, l);
        uint32_t strange = f->meets[l] & ~here;
        bool own = (f->meets[l] & here) != 0;
        if (!(s->lines & WIRE_BIT(l)) || (done & WIRE_BIT(l)) || !own || strange == 0)
            continue;
        uint32_t there = loop_fellows(s->lines, lowest(strange));
        if (f->meets[lowest(strange)] & there & ~f->held) {
            add(out, LOOP_LEADS_TOUCH, here, there)->at_times = (f->always[l] & strange) == 0;
            done |= here | there;
        }
    }
    return done;
}

void loop_read(const struct loop_seen *seen, struct loop_reading *out)
{
    struct facts f;
    memset(out, 0, sizeof *out);
    if (seen->passes == 0)
        return;
    take_facts(seen, &f);
    uint32_t done = held_lines(seen, &f, out);
    done |= touching(seen, &f, out);
    for (unsigned l = 0; l < WIRE_LINES; l++)
        if ((seen->lines & WIRE_BIT(l)) != 0 && !(done & WIRE_BIT(l)))
            one_reading(seen, &f, l, &done, out);
}

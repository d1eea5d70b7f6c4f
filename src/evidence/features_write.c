/* Write gate, write data, and what the machine then does, as features. */
#include "evidence/feature_make.h"

#define ASKED_WRITING (ASKED_WRITE | ASKED_FORMAT)
/* Longest write gate that a sector or a whole track needs: one turn at 300 rpm and a half. */
#define GATE_LONGEST_NS      (300 * NS_PER_MS)
#define GATE_DATA_MIN_PER_MS 50
/* The head parked at one place to the end for this long. */
#define PARKED_NS (1500 * NS_PER_MS)

static enum err add_gate_data(const struct feature_from *f, struct feature_list *l)
{
    const struct bus_story *b = &f->s->story;
    double per_ms;

    if (!feature_recorded(f, SIG_WDATA) || b->write_gate_ns < NS_PER_MS)
        return ERR_OK;
    per_ms = (double)b->write_pulses_in_gate / ((double)b->write_gate_ns / (double)NS_PER_MS);
    return feature_add(l, f, FEATURE_GATE_DATA, GROUP_WRITE, SIG_WDATA,
                       per_ms < GATE_DATA_MIN_PER_MS, NULL,
                       per_ms < GATE_DATA_MIN_PER_MS ? "wdata.none" : "wdata.pulses",
                       "%.0f WDATA pulses a millisecond while WGATE is active", per_ms);
}

static enum err add_read_back(const struct feature_from *f, struct feature_list *l)
{
    int good = 0, bad = 0;

    for (size_t i = 0; i < f->s->visit_count; i++) {
        const struct visit *v = &f->s->visit[i];

        if (!v->after_write)
            continue;
        good += v->data_good;
        bad += v->data_damaged + v->data_absent + v->ids_bad;
    }
    if (good + bad < 3)
        return ERR_OK;
    return feature_add(l, f, FEATURE_READ_BACK, GROUP_WRITE, SIG_RDATA, bad > 0, NULL,
                       bad ? "write.reads-back-badly" : "write.reads-back",
                       "after writing, %d fields read back good and %d bad", good, bad);
}

enum err features_write(const struct feature_from *f, struct feature_list *l)
{
    const struct bus_story *b = &f->s->story;
    bool asked = f->cap->asked & ASKED_WRITING;
    bool flat = b->write_gates == 0 && b->write_gate_ns == 0;
    int answer;
    struct feature *n;

    if (!feature_recorded(f, SIG_WGATE))
        return ERR_OK;
    if (flat && !f->at_drive && !case_pulled_up(f->cap))
        return ERR_OK;
    if (flat)
        answer = 0;
    else if (b->longest_write_gate_ns > GATE_LONGEST_NS || (!asked && f->cap->asked))
        answer = 2;
    else
        answer = 1;
    TRY(feature_add(l, f, FEATURE_GATE, GROUP_WRITE, SIG_WGATE, answer, &n,
                    answer == 0   ? "wgate.quiet"
                    : answer == 1 ? "wgate.writes"
                                  : "wgate.unasked",
                    answer == 0 ? "WGATE stays off"
                    : answer == 1
                        ? "WGATE is active as a write is, at most %.1f ms"
                        : "WGATE is active where nothing should write, up to %.1f ms at a time",
                    (double)b->longest_write_gate_ns / (double)NS_PER_MS));
    feature_value(n, (double)b->write_gate_ns / (double)NS_PER_MS, 0, "ms");
    if (flat)
        return ERR_OK;
    TRY(add_gate_data(f, l));
    return f->s->flux_usable ? add_read_back(f, l) : ERR_OK;
}

static bool machine_silent(const struct feature_from *f)
{
    static const enum sig lines[] = {SIG_SEL, SIG_MOT, SIG_STEP};
    int recorded = 0;

    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        if (!feature_recorded(f, lines[i]))
            continue;
        recorded++;
        if (feature_stats(f, lines[i])->edges > 0)
            return false;
    }
    return recorded >= 2;
}

static enum err add_machine(const struct feature_from *f, struct feature_list *l)
{
    static const struct {
        const char *id, *text;
    } words[] = {
        {"machine.goes-on", "the machine goes on from place to place"},
        {"machine.tries-again", "the machine runs to a limit or tries the same place again"},
        {"machine.waits", "the machine parks the head and goes no further"},
        {"machine.silent", "the machine gives no command at all"},
    };
    const struct bus_story *b = &f->s->story;
    bool parked = b->last_activity_ns >= 0 && b->end_ns - b->last_activity_ns > PARKED_NS &&
                  b->selected_ns > 0;
    int answer = 0;

    if (!feature_recorded(f, SIG_STEP) || f->cap->asked == ASKED_NOTHING)
        return ERR_OK;
    if (machine_silent(f)) {
        if (!f->at_drive && !case_pulled_up(f->cap))
            return ERR_OK;
        answer = 3;
    } else if (b->restores_failed || b->retries) {
        answer = 1;
    } else if (parked) {
        answer = 2;
    }
    return feature_add(l, f, FEATURE_MACHINE, GROUP_MACHINE, SIG_COUNT, answer, NULL,
                       words[answer].id, "%s", words[answer].text);
}

/* The recorded try is one of those that were counted: what came of it is said already. */
static enum err add_tries(const struct feature_from *f, struct feature_list *l)
{
    const struct case_capture *cap = f->cap;
    bool apart = cap->outcome != OUTCOME_UNKNOWN && cap->outcome != OUTCOME_SOMETIMES;
    bool worked = cap->outcome == OUTCOME_WORKED;
    int tries = cap->tried - apart, bad = cap->tried - cap->worked - (apart && !worked);
    struct feature *n;

    if (tries < 1 || bad < 0 || bad > tries)
        return ERR_OK;
    TRY(feature_add(l, f, FEATURE_TRIES, GROUP_MACHINE, SIG_COUNT, 0, &n, "outcome.tries",
                    "what the machine was asked to do worked %d time%s of %d", cap->worked,
                    cap->worked == 1 ? "" : "s", cap->tried));
    n->count = tries;
    n->bad = bad;
    n->finding.observation = true;
    feature_value(n, (double)cap->worked / cap->tried * 100, 0, "% worked");
    return ERR_OK;
}

enum err features_machine(const struct feature_from *f, struct feature_list *l)
{
    static const char *const said[] = {"it worked", "it failed", "it hangs",
                                       "it gives wrong data", "it works sometimes"};
    static const char *const id[] = {"outcome.worked", "outcome.failed", "outcome.hangs",
                                     "outcome.wrong-data", "outcome.sometimes"};
    const struct case_capture *cap = f->cap;
    struct feature *n;
    int o = (int)cap->outcome - 1;

    if (cap->role == ROLE_INLINE)
        TRY(add_machine(f, l));
    if (cap->tried > 0)
        TRY(add_tries(f, l));
    if (cap->outcome == OUTCOME_UNKNOWN ||
        (cap->tried > 0 && cap->outcome == OUTCOME_SOMETIMES))
        return ERR_OK; /* the count says it better */
    TRY(feature_add(l, f, FEATURE_OUTCOME, GROUP_MACHINE, SIG_COUNT, o, &n, id[o],
                    "what the machine was asked to do: %s", said[o]));
    n->finding.observation = true;
    return ERR_OK;
}

#include "judge/change.h"

#include "judge/infer_rows.h"
#include "judge/texts.h"

#include <stdio.h>
#include <string.h>

#define FINDINGS_MAX 3
#define ANSWERS_MAX  4

/* Findings without which another end would lead: strongest first, as they come. */
static void list_findings(struct verdict *v)
{
    size_t said = 0;

    for (size_t i = 0; i < v->finding_count && said < FINDINGS_MAX; i++) {
        const struct finding *f = &v->finding[i];

        if (f->without == v->leading)
            continue;
        verdict_change(v, "if it is not so that %.110s (%.30s): %s would lead", f->text,
                       f->from, end_shown(f->without));
        said++;
    }
}

/* Answers of the next tests that would put another end in front. */
static void list_answers(struct verdict *v)
{
    size_t said = 0;

    for (size_t i = 0; i < v->next_count; i++)
        for (size_t k = 0; k < v->next[i].outcome_count && said < ANSWERS_MAX; k++) {
            if (v->next[i].then[k] == v->leading)
                continue;
            verdict_change(v, "%.110s - %s", v->next[i].test, v->next[i].outcome[k]);
            said++;
        }
}

/* Shares of the ends after one answer of an intervention on a part. */
static void after(const struct inference *n, const struct feature *f, int answer,
                  double end[END_COUNT])
{
    double sum = 0;

    memset(end, 0, sizeof *end * END_COUNT);
    for (size_t h = 0; h < n->hyp_count; h++) {
        double p[FEATURE_ANSWERS_MAX];

        hypothesis_answers(n, &n->hyp[h], f, p);
        end[n->end_of[h]] += n->posterior[h] * p[answer];
        sum += n->posterior[h] * p[answer];
    }
    for (int e = 0; e < END_COUNT; e++)
        end[e] /= sum;
}

enum swapped { SWAP_OPEN, SWAP_CURED, SWAP_BACK, SWAP_OTHER };

/* How far this part was swapped already. */
static enum swapped swapped(const struct case_file *c, enum end part)
{
    enum swapped most = SWAP_OPEN;

    for (size_t i = 0; i < c->swap_count; i++) {
        const struct swap_tried *s = &c->swap[i];
        enum swapped is = SWAP_OTHER;

        if (end_by_name(s->part) != part || !s->known_good)
            continue;
        if (!s->into || !strcmp(s->into, "suspect-chain"))
            is = s->outcome != OUTCOME_WORKED                    ? SWAP_OTHER
                 : s->back && !strcmp(s->back, "fault-returned") ? SWAP_BACK
                                                                 : SWAP_CURED;
        most = is > most ? is : most;
    }
    return most;
}

static void say_disproof(struct verdict *v, const double end[END_COUNT], const char *what,
                         const char *if_so)
{
    enum end lead = ends_leader(end);
    const char *part = end_shown(v->leading);

    if (lead == v->leading)
        snprintf(v->disproof, sizeof v->disproof, "%s: %s, %s falls from %.1f to %.1f %%", what,
                 if_so, part, 100 * v->probability, 100 * end[lead]);
    else
        snprintf(v->disproof, sizeof v->disproof, "%s: %s, %s leads with %.0f %%", what, if_so,
                 end_shown(lead), 100 * end[lead]);
}

static void disprove(const struct case_file *c, const struct inference *n, struct verdict *v)
{
    struct feature f = {.kind = FEATURE_SWAP,
                        .group = GROUP_SWAP,
                        .sig = SIG_COUNT,
                        .sig2 = (int)v->leading,
                        .run = -1,
                        .answers = 3,
                        .known_good = true,
                        .count = 1};
    enum swapped done = swapped(c, v->leading);
    const char *part = end_shown(v->leading);
    double end[END_COUNT];
    char what[120];

    if (v->leading >= END_SETUP)
        return;
    if (done == SWAP_OPEN) {
        after(n, &f, 1, end);
        snprintf(what, sizeof what, "another %s that is known good, all else as it was", part);
        say_disproof(v, end, what, "should the fault stay");
    } else if (done == SWAP_CURED) {
        snprintf(v->disproof, sizeof v->disproof,
                 "the old %s put back, all else as it was: if it works now, a contact was "
                 "cured and not the part",
                 part);
    } else {
        f.kind = FEATURE_TRIED;
        after(n, &f, 0, end);
        snprintf(what, sizeof what, "this %s in a set that works", part);
        say_disproof(v, end, what, "should it work there");
    }
}

void list_changes(const struct case_file *c, const struct inference *n, struct verdict *v)
{
    list_findings(v);
    list_answers(v);
    disprove(c, n, v);
}

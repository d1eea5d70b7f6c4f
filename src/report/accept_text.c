/* `whichend accept` for people: the answer, what failed, what passed, what nobody measured. */
#include "report/accept.h"
#include "report/text.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define HANG       34
#define PLACES_ALL 12 /* more places are shown in steps, unless all are asked for */

static const char *unit_text(enum accept_item i)
{
    const char *unit = accept_item_unit(i);
    return strcmp(unit, "percent") == 0 ? "%" : unit;
}

const char *accept_value_text(enum accept_item i, const struct accept_line *l,
                              char out[ACCEPT_TEXT_MAX])
{
    int n = accept_item_decimals(i);
    out[0] = '\0';
    if (!l->has_value)
        return out;
    double value = fabs(l->value) < 0.5 * pow(10, -n) ? 0 : l->value;
    if (l->uncertainty > 0) /* never shown smaller than it is */
        (void)snprintf(out, ACCEPT_TEXT_MAX, "%.*f +/- %.*f %s", n, value, n,
                       ceil(l->uncertainty * pow(10, n) - 1e-9) / pow(10, n), unit_text(i));
    else
        (void)snprintf(out, ACCEPT_TEXT_MAX, "%.*f %s", n, value, unit_text(i));
    return out;
}

const char *accept_limit_text(enum accept_item i, const struct accept_limit *l,
                              char out[ACCEPT_TEXT_MAX])
{
    bool none = !l->has_min && l->has_max && fabs(l->max) <= 0;
    if (none)
        (void)snprintf(out, ACCEPT_TEXT_MAX, "none");
    else if (l->has_min && l->has_max)
        (void)snprintf(out, ACCEPT_TEXT_MAX, "%.10g to %.10g %s", l->min, l->max, unit_text(i));
    else
        (void)snprintf(out, ACCEPT_TEXT_MAX, "%s %.10g %s", l->has_min ? "at least" : "at most",
                       l->has_min ? l->min : l->max, unit_text(i));
    return out;
}

static enum err limits(enum accept_item i, const struct accept_line *l, struct buf *b)
{
    char text[ACCEPT_TEXT_MAX];
    TRY(buf_printf(b, "; %s%s (%s)", l->has_shop ? "maker " : "limit ",
                   accept_limit_text(i, &l->limit, text), l->limit.source));
    if (l->has_shop)
        TRY(buf_printf(b, "; shop %s (%s)", accept_limit_text(i, &l->shop, text),
                       l->shop.source));
    return ERR_OK;
}

/* Everything that a line says behind its title. */
static enum err say(enum accept_item i, const struct accept_line *l, struct buf *b)
{
    char text[ACCEPT_TEXT_MAX];
    if (l->has_value)
        TRY(buf_printf(b, "%s", accept_value_text(i, l, text)));
    if (l->text[0] != '\0')
        TRY(buf_printf(b, "%s%s", l->has_value ? "; " : "", l->text));
    if (l->has_limit)
        TRY(limits(i, l, b));
    if (l->close)
        TRY(buf_printf(b, "; %s the limit by less than the uncertainty",
                       l->state == ACCEPT_FAIL ? "beyond" : "inside"));
    if (l->outside_shop)
        TRY(buf_str(b, "; inside the maker's limit, outside the shop's"));
    return ERR_OK;
}

static enum err one_line(enum accept_item i, const struct accept_line *l,
                         const struct text_style *st, enum tint tint, struct buf *out)
{
    struct buf b;
    buf_init(&b, 4000);
    enum err err = say(i, l, &b);
    if (err == ERR_OK)
        err = text_tinted(out, st, tint, 2, accept_item_title(i), HANG,
                          b.data != NULL ? b.data : "");
    buf_release(&b);
    return err;
}

static enum err group(const struct accept_sheet *s, enum accept_state state,
                      const char *heading, enum tint tint, const struct text_style *st,
                      struct buf *out)
{
    if (accept_sheet_count(s, state) == 0)
        return ERR_OK;
    TRY(text_heading(out, st, heading));
    for (int i = 0; i < ACCEPT_ITEMS; i++)
        if (s->line[i].state == state)
            TRY(one_line((enum accept_item)i, &s->line[i], st, tint, out));
    return ERR_OK;
}

static enum err places(const struct accept_sheet *s, const struct text_style *st,
                       struct buf *out)
{
    size_t step = st->verbose || s->place_count <= PLACES_ALL
                      ? 1
                      : (s->place_count + PLACES_ALL - 1) / PLACES_ALL;
    if (s->place_count == 0)
        return ERR_OK;
    TRY(text_heading(out, st, "By cylinder and side"));
    TRY(buf_str(out, "  place   margin ns     jitter ns    asymmetry ns   sectors good\n"));
    for (size_t i = 0; i < s->place_count; i += step) {
        const struct accept_place *p = &s->place[i];
        TRY(buf_printf(out, "  %2d/%d ", p->cylinder, p->side));
        if (p->margin_u_ns > 0)
            TRY(buf_printf(out, "%7.0f +/- %-3.0f %6.1f +/- %-4.1f %6.1f +/- %-4.1f",
                           p->margin_ns, ceil(p->margin_u_ns), p->jitter_ns, p->jitter_u_ns,
                           p->asymmetry_ns, p->asymmetry_u_ns));
        else
            TRY(buf_printf(out, "%-45s", "  no clock"));
        TRY(buf_printf(out, "   %d of %d\n", p->sectors_good, p->sectors));
    }
    return step == 1 ? ERR_OK
                     : text_wrapf(out, 2, "", 2, "one in %zu of %zu; --verbose shows all", step,
                                  s->place_count);
}

static enum err answer(const struct accept_sheet *s, const struct text_style *st,
                       struct buf *out)
{
    static const char *const word[] = {"Passed", "Failed", "Not complete"};
    static const enum tint tint[] = {TINT_GOOD, TINT_BAD, TINT_WARN};
    enum accept_outcome o = accept_sheet_outcome(s);
    char text[160];
    size_t wanting = 0;
    for (int i = 0; i < ACCEPT_ITEMS; i++)
        wanting += s->line[i].wanting;
    (void)snprintf(text, sizeof text,
                   "%zu lines passed, %zu failed, %zu that should be there were not measured",
                   accept_sheet_count(s, ACCEPT_PASS), accept_sheet_count(s, ACCEPT_FAIL),
                   wanting);
    TRY(text_tinted(out, st, tint[o], 0, word[o], 14, text));
    TRY(text_wrapf(out, 0, "drive", 14, "%s: %s%s%s", s->drive, s->title,
                   s->serial[0] != '\0' ? "; serial " : "", s->serial));
    if (s->rest[0] != '\0')
        TRY(text_wrap(out, 0, "cut short", 14, s->rest));
    if (s->source[0] != '\0')
        TRY(text_wrap(out, 0, "from", 14, s->source));
    return s->made[0] != '\0' ? text_wrap(out, 0, "made", 14, s->made) : ERR_OK;
}

enum err report_accept_text(const struct accept_sheet *s, const struct text_style *st,
                            struct buf *out)
{
    TRY(answer(s, st, out));
    TRY(group(s, ACCEPT_FAIL, "Failed", TINT_BAD, st, out));
    TRY(group(s, ACCEPT_PASS, "Passed", TINT_PLAIN, st, out));
    TRY(group(s, ACCEPT_READING, "Readings, with no limit to hold them against", TINT_PLAIN, st,
              out));
    TRY(group(s, ACCEPT_NOT_MEASURED, "Not measured", TINT_WARN, st, out));
    return places(s, st, out);
}

/* ---- two sheets ---- */

static enum err difference(enum accept_item i, const struct accept_sheet *before,
                           const struct accept_sheet *after, const struct accept_difference *d,
                           const struct text_style *st, struct buf *out)
{
    static const enum tint tints[ACCEPT_CHANGES] = {[ACCEPT_MOVED] = TINT_STRONG,
                                                    [ACCEPT_MENDED] = TINT_GOOD,
                                                    [ACCEPT_BROKE] = TINT_BAD,
                                                    [ACCEPT_APPEARED] = TINT_PLAIN,
                                                    [ACCEPT_LOST] = TINT_WARN};
    const struct accept_line *a = &before->line[i];
    const struct accept_line *b = &after->line[i];
    char was[ACCEPT_TEXT_MAX];
    char is[ACCEPT_TEXT_MAX];
    char text[400];
    (void)snprintf(text, sizeof text, "%s: %s%s%s -> %s%s%s", accept_change_word(d->change),
                   accept_state_word(a->state), a->has_value ? " " : "",
                   accept_value_text(i, a, was), accept_state_word(b->state),
                   b->has_value ? " " : "", accept_value_text(i, b, is));
    return text_tinted(out, st, tints[d->change], 2, accept_item_title(i), HANG, text);
}

enum err report_compare_text(const struct accept_sheet *before,
                             const struct accept_sheet *after, const struct text_style *st,
                             struct buf *out)
{
    struct accept_difference d[ACCEPT_ITEMS];
    size_t same = 0;
    size_t count[ACCEPT_CHANGES] = {0};
    accept_compare(before, after, d);
    for (int i = 0; i < ACCEPT_ITEMS; i++)
        count[d[i].change]++;
    same = count[ACCEPT_SAME];
    TRY(text_wrapf(out, 0, "", 0, "%zu mended, %zu broke, %zu moved, %zu appeared, %zu lost",
                   count[ACCEPT_MENDED], count[ACCEPT_BROKE], count[ACCEPT_MOVED],
                   count[ACCEPT_APPEARED], count[ACCEPT_LOST]));
    if (strcmp(before->drive, after->drive) != 0)
        TRY(text_wrapf(out, 0, "", 0, "Beware: the sheets are of %s and of %s", before->drive,
                       after->drive));
    for (int i = 0; i < ACCEPT_ITEMS; i++)
        if (d[i].change != ACCEPT_SAME)
            TRY(difference((enum accept_item)i, before, after, &d[i], st, out));
    return text_wrapf(out, 0, "", 0,
                      "%zu lines are alike within their uncertainties, or are in neither sheet",
                      same);
}

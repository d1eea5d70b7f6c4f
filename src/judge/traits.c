/* Traits of a fault, as its section of the catalogue writes them. */
#include "judge/traits.h"

#include <stdio.h>
#include <string.h>

/* The next word of a text, cut at blanks and at one of `stops`; *len 0 at its end. */
static const char *next_word(const char *p, const char *stops, size_t *len)
{
    p += strspn(p, " ");
    *len = strcspn(p, stops);
    return p;
}

static bool varies_word(const char *word, size_t len, unsigned *out)
{
    static const char *const words[] = {"plugs", "chips", "drive", "panel", "heat", "place"};

    for (unsigned i = 0; i < sizeof words / sizeof *words; i++) {
        if (strlen(words[i]) == len && !strncmp(words[i], word, len)) {
            *out |= 1u << i;
            return true;
        }
    }
    return false;
}

bool traits_varies(const char *text, struct traits *t)
{
    size_t len;

    for (const char *p = next_word(text, " ", &len); len; p = next_word(p + len, " ", &len))
        if (!varies_word(p, len, &t->varies))
            return false;
    return true;
}

bool traits_cured(const char *text, struct traits *t)
{
    char word[CASE_WORD_MAX];
    size_t len;

    for (const char *p = next_word(text, " ", &len); len; p = next_word(p + len, " ", &len)) {
        snprintf(word, sizeof word, "%.*s", (int)len, p);
        if (!repair_kind_bit(word))
            return false;
        t->cured |= repair_kind_bit(word);
    }
    return true;
}

bool traits_reach(const char *text, struct traits *t)
{
    static const char *const words[] = {"drive", "unit", "bus", "disk"};

    for (int i = 0; i < 4; i++) {
        if (!strcmp(words[i], text)) {
            t->reach = (enum reach)i;
            return true;
        }
    }
    return false;
}

/* "noise grinds squeals": a question, then the answers that this fault gives. */
static bool one_sign(const char *text, size_t size, struct traits *t)
{
    char key[CASE_WORD_MAX] = "", word[CASE_WORD_MAX];
    enum told_question q = TOLD_QUESTIONS;
    const char *end = text + size;
    size_t len;

    for (const char *p = next_word(text, " ,", &len); p < end && len;
         p = next_word(p + len, " ,", &len)) {
        snprintf(word, sizeof word, "%.*s", (int)len, p);
        if (!key[0]) {
            snprintf(key, sizeof key, "%s", word);
            q = told_question_by_key("observed", key);
            q = q < TOLD_QUESTIONS ? q : told_question_by_key("case", key);
            if (q == TOLD_QUESTIONS)
                return false;
            continue;
        }
        if (told_answer(q, word) < 0)
            return false;
        t->signs[q] |= (unsigned short)(1u << told_answer(q, word));
    }
    return q < TOLD_QUESTIONS && t->signs[q];
}

bool traits_signs(const char *text, struct traits *t)
{
    while (*text) {
        size_t len = strcspn(text, ",");

        if (!one_sign(text, len, t))
            return false;
        text += len + (text[len] == ',');
    }
    return true;
}

void traits_begin(enum end end, enum sig sig, struct traits *t)
{
    bool wide = end == END_CABLE || end == END_CONTROLLER || end == END_POWER;

    *t = (struct traits){.end = end};
    if (wide)
        t->reach = sig == SIG_SEL || sig == SIG_MOT ? REACH_UNIT : REACH_BUS;
    else
        t->reach = end == END_DISK ? REACH_DISK : REACH_DRIVE;
}

bool traits_cured_by(const struct traits *t, enum end part, unsigned kinds)
{
    return t->end == part && (!kinds || (t->cured & kinds));
}

/* The plugs and the map of a cable, from its file's entries. */
#include "profile_private.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROWS_MAX 4

bool is_cable_section(const char *section)
{
    return strcmp(section, "machine-plug") == 0 || strcmp(section, "drive-plug") == 0 ||
           strcmp(section, "map") == 0;
}

/* A whole number from 1 to max, 0 for anything else. */
static int parse_count(const char *s, size_t len, int max)
{
    int v = 0;
    if (len == 0 || len > 3)
        return 0;
    for (size_t i = 0; i < len; i++) {
        if (s[i] < '0' || s[i] > '9')
            return 0;
        v = v * 10 + (s[i] - '0');
    }
    return v <= max ? v : 0;
}

static void take_count(const struct ini_entry *x, int max, int *out, struct problems *to)
{
    *out = parse_count(x->value, strlen(x->value), max);
    if (*out == 0)
        problem(to, x->line, "%s is a number from 1 to %d, not \"%s\"", x->key, max, x->value);
}

/* What a pin bears: one word that is no line, or the names of one line and its stand-ins. */
static void take_pin(struct pin *pin, const struct ini_entry *x, struct problems *to)
{
    static const struct {
        const char *word;
        enum pin_use use;
    } USES[] = {{"open", PIN_OPEN},
                {"ground", PIN_GROUND},
                {"supply", PIN_SUPPLY},
                {"key", PIN_KEY},
                {"other", PIN_OTHER}};
    *pin = (struct pin){.place = x->line};
    for (size_t i = 0; i < sizeof USES / sizeof USES[0]; i++) {
        if (strcmp(x->value, USES[i].word) == 0) {
            pin->use = USES[i].use;
            return;
        }
    }
    const char *at = x->value;
    for (size_t n; (n = next_word(&at)) > 0; at += n) {
        char name[16];
        snprintf(name, sizeof name, "%.*s", n < sizeof name ? (int)n : 0, at);
        enum line line = line_by_name(name);
        if (line == LINE_NONE)
            problem(to, x->line, "\"%.*s\" is no line", n > 100 ? 100 : (int)n, at);
        else if (pin->names == PIN_NAMES_MAX)
            problem(to, x->line, "pin %s has more than %d names", x->key, PIN_NAMES_MAX);
        else
            pin->name[pin->names++] = line;
    }
    pin->use = pin->names > 0 ? PIN_LINE : PIN_OPEN;
    if (x->value[0] == '\0')
        problem(to, x->line, "pin %s bears nothing; say open", x->key);
}

/* "source", "confidence", "note": true when x is one of them. */
static bool take_origin(const struct ini_entry *x, const char **source, struct problems *to)
{
    if (strcmp(x->key, "source") == 0) {
        if (x->value[0] != '\0')
            *source = x->value;
        return true;
    }
    if (strcmp(x->key, "confidence") == 0) {
        if (!list_has("high medium low", x->value, strlen(x->value)))
            problem(to, x->line, "[%s] confidence is high, medium or low", x->section);
        return true;
    }
    return strcmp(x->key, "note") == 0;
}

static void take_plug(struct plug *plug, bool drive, const struct ini_entry *x,
                      struct problems *to)
{
    int n = parse_count(x->key, strlen(x->key), PINS_MAX);
    if (n > 0) {
        if (plug->pin[n].place > 0)
            problem(to, x->line, "pin %d stands on line %d already", n, plug->pin[n].place);
        take_pin(&plug->pin[n], x, to);
    } else if (take_origin(x, &plug->source, to)) {
        return;
    } else if (strcmp(x->key, "pins") == 0) {
        take_count(x, PINS_MAX, &plug->pins, to);
    } else if (strcmp(x->key, "rows") == 0) {
        take_count(x, ROWS_MAX, &plug->rows, to);
    } else if (strcmp(x->key, "ground") == 0) {
        plug->ground = x;
    } else if (drive && strcmp(x->key, "like") == 0 && strcmp(x->value, "machine-plug") == 0) {
        plug->like_machine = true;
    } else {
        problem(to, x->line, "unknown key or value in [%s]: %s = %s", x->section, x->key,
                x->value);
    }
}

static void take_map(struct cable *c, const struct ini_entry *x, struct problems *to)
{
    int from = parse_count(x->key, strlen(x->key), PINS_MAX);
    if (from > 0) {
        int drive_pin = parse_count(x->value, strlen(x->value), PINS_MAX);
        if (drive_pin == 0 && strcmp(x->value, "none") != 0)
            problem(to, x->line, "pin %d goes to a pin or to none, not to \"%s\"", from,
                    x->value);
        if (c->map_place[from] > 0)
            problem(to, x->line, "pin %d stands on line %d already", from, c->map_place[from]);
        c->map[from] = drive_pin;
        c->map_place[from] = x->line;
    } else if (take_origin(x, &c->map_source, to)) {
        return;
    } else if (strcmp(x->key, "map") == 0 && strcmp(x->value, "straight") == 0) {
        c->straight = true;
    } else if (strcmp(x->key, "map") == 0 && strcmp(x->value, "listed") == 0) {
        c->listed = true;
    } else {
        problem(to, x->line, "unknown key or value in [map]: %s = %s", x->key, x->value);
    }
}

void cable_take(struct profile *p, const struct ini_entry *x, struct problems *to)
{
    if (strcmp(x->section, "map") == 0)
        take_map(&p->cable, x, to);
    else if (strcmp(x->section, "drive-plug") == 0)
        take_plug(&p->cable.drive, true, x, to);
    else
        take_plug(&p->cable.machine, false, x, to);
}

/* Line of a section's own line; complains and gives 0 where there is none. */
static int section_place(const struct profile *p, const char *section, struct problems *to)
{
    for (size_t i = 0; i < p->ini.count; i++)
        if (p->ini.entry[i].key == NULL && strcmp(p->ini.entry[i].section, section) == 0)
            return p->ini.entry[i].line;
    problem(to, 1, "[%s] is missing", section);
    return 0;
}

static void set_ground(struct plug *plug, int pin, struct problems *to)
{
    struct pin *x = &plug->pin[pin];
    if (x->place > 0 && x->use == PIN_LINE)
        problem(to, x->place, "pin %d is a line and a ground", pin);
    if (x->place == 0)
        *x = (struct pin){.use = PIN_GROUND, .place = plug->ground->line};
}

/* "odd", "even" or a list of pins; pins that are given apart (a key) stay what they are. */
static void take_grounds(struct plug *plug, struct problems *to)
{
    if (plug->ground == NULL)
        return;
    const char *at = plug->ground->value;
    bool odd = strcmp(at, "odd") == 0;
    if (odd || strcmp(at, "even") == 0) {
        for (int pin = odd ? 1 : 2; pin <= plug->pins; pin += 2)
            set_ground(plug, pin, to);
        return;
    }
    for (size_t n; (n = next_word(&at)) > 0; at += n) {
        int pin = parse_count(at, n, plug->pins);
        if (pin == 0)
            problem(to, plug->ground->line,
                    "ground is odd, even or pins of the plug, not \"%.*s\"",
                    n > 100 ? 100 : (int)n, at);
        else
            set_ground(plug, pin, to);
    }
}

static void check_pins(const struct plug *plug, struct problems *to)
{
    int pin_of[LINE_COUNT] = {0};
    for (int n = 1; n <= PINS_MAX; n++) {
        const struct pin *pin = &plug->pin[n];
        if (pin->place > 0 && n > plug->pins)
            problem(to, pin->place, "pin %d is off the %d-way plug", n, plug->pins);
        for (size_t i = 0; i < pin->names; i++) {
            int *other = &pin_of[pin->name[i]];
            if (*other > 0)
                problem(to, pin->place, "%s is on pin %d and on pin %d",
                        line_name(pin->name[i]), *other, n);
            *other = n;
        }
    }
}

static void finish_plug(struct profile *p, struct plug *plug, const char *section,
                        struct problems *to)
{
    int place = section_place(p, section, to);
    if (place == 0)
        return;
    if (plug->like_machine) {
        const struct plug *m = &p->cable.machine;
        plug->pins = plug->pins > 0 ? plug->pins : m->pins;
        plug->rows = plug->rows > 0 ? plug->rows : m->rows;
        for (int n = 1; n <= plug->pins; n++)
            if (plug->pin[n].place == 0)
                plug->pin[n] = m->pin[n];
    }
    if (plug->pins == 0 || plug->rows == 0)
        problem(to, place, "[%s] needs pins and rows", section);
    if (plug->source == NULL)
        problem(to, place, "[%s] has no source", section);
    take_grounds(plug, to);
    check_pins(plug, to);
}

static void check_map(const struct cable *c, int place, struct problems *to)
{
    int from_of[PINS_MAX + 1] = {0};
    for (int n = 1; n <= PINS_MAX; n++) {
        int m = c->map[n];
        int at = c->map_place[n] > 0 ? c->map_place[n] : place;
        if (c->map_place[n] > 0 && (n > c->machine.pins || m > c->drive.pins))
            problem(to, at, "pin %d to %d is off a plug", n, m);
        if (m == 0)
            continue;
        if (from_of[m] > 0)
            problem(to, at, "pins %d and %d both go to pin %d", from_of[m], n, m);
        from_of[m] = n;
        bool line = c->machine.pin[n].use == PIN_LINE, other = c->drive.pin[m].use == PIN_LINE;
        bool ground = c->machine.pin[n].use == PIN_GROUND || c->drive.pin[m].use == PIN_GROUND;
        if ((line || other) && ground)
            problem(to, at, "pin %d to %d joins a line and a ground", n, m);
    }
}

static void finish_map(struct profile *p, struct problems *to)
{
    struct cable *c = &p->cable;
    int place = section_place(p, "map", to);
    if (place == 0)
        return;
    if (c->straight == c->listed)
        problem(to, place, "[map] needs map = straight or map = listed");
    if (c->map_source == NULL)
        problem(to, place, "[map] has no source");
    int pins = c->machine.pins < c->drive.pins ? c->machine.pins : c->drive.pins;
    for (int n = 1; c->straight && n <= pins; n++)
        if (c->map_place[n] == 0)
            c->map[n] = n;
    check_map(c, place, to);
}

void cable_finish(struct profile *p, struct problems *to)
{
    finish_plug(p, &p->cable.machine, "machine-plug", to);
    finish_plug(p, &p->cable.drive, "drive-plug", to);
    finish_map(p, to);
}

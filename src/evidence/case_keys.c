/* The keys of a case: one table for reading, checking, asking and help. */
#include "evidence/case_private.h"

#include <string.h>

#define WORDS_ASKED   "nothing|motor|seek|restore|read|write|format|verify|boot|power-on"
#define WORDS_OUTCOME "worked|failed|hangs|wrong-data|sometimes|unknown"
#define WORDS_DISK    "known-good|unknown|blank|none"
#define WORDS_PART    "drive|cable|controller|disk|power"
#define WORDS_YES     "no|yes"
#define WORDS_DID                                                                              \
    "cleaned-heads|cleaned-contacts|reseated|turned-plug|rewired|new-belt|freed-mechanics|"    \
    "new-capacitors|new-chip|new-part|adjusted|settings|terminator|strap|mounting|moved|"      \
    "erased-disk|other"

// clang-format off
static const struct case_key table[] = {
    {"case", "title", "text", "What is the trouble, in one line?"},
    {"case", "machine", "profile:controller", "Which machine or controller chip is it (whichend profile list)?"},
    {"case", "drive", "profile:drive", "Which kind of drive is it?"},
    {"case", "cable", "profile:cable", "Which cable runs between them?"},
    {"case", "disk", WORDS_DISK, "What is known of the disk: read elsewhere (known-good), blank, none in the drive?"},
    {"case", "scratch", WORDS_YES, "May the disk be overwritten?"},
    {"case", "drives-attached", "number:0:4", "How many drives are on the cable?"},
    {"case", "other-drive", "worked|failed|sometimes|unplugged|none|unknown", "What does the other drive on the same cable do?"},
    {"case", "position", "only|end|middle|external", "Where on the cable does the drive sit?"},
    {"case", "strap", "DS0|DS1|DS2|DS3|unknown", "How is the drive's select strapped (counted from 0; some makers count from 1)?"},
    {"case", "terminator", "none|this|other|both|built-in|unknown", "Where is a terminator fitted: in this drive, the other, both?"},
    {"case", "disk-way-up", "right|turned-over|unknown", "Was the disk put in the right way up?"},
    {"case", "written-by", "this-drive|another|factory|unknown", "Which drive wrote the disk?"},
    {"case", "pin34", "ready|dskchg|none|unknown", "What is the drive's pin 34 strapped to give?"},
    {"case", "pin2", "density|speed|low-current|head-load|none|unknown", "What is the drive's pin 2 strapped to take?"},
    {"case", "belt", "new|old|none", "Has the drive a belt, and is it new?"},

    {"capture", "file", "path", NULL},
    {"capture", "role", "inline|as-machine|as-drive|both-plugs|loop", NULL},
    {"capture", "tap", "machine-end|drive-end", "At which plug were the lines listened to?"},
    {"capture", "pull-up", "none|number:1:1000000", "What pull-up has the tap itself, in ohms?"},
    {"capture", "run", "text", NULL},
    {"capture", "after", "text", "After which work was it recorded (names of [repair NAME], commas between)?"},
    {"capture", "asked", "list:" WORDS_ASKED, "What was the machine asked to do while this was recorded?"},
    {"capture", "outcome", WORDS_OUTCOME, "What did the machine report of it?"},
    {"capture", "disk", WORDS_DISK, NULL},
    {"capture", "unit", "number:0:3", NULL},
    {"capture", "worked-times", "ratio", "How often did it work, out of how many times (3/10)?"},
    {"capture", "error", "text", "What error did the machine show, word by word?"},

    {"observed", "lamp-host-off", WORDS_YES, "With the machine off and the drive powered: is the drive's lamp lit?"},
    {"observed", "motor-host-off", WORDS_YES, "With the machine off and the drive powered: does the motor turn?"},
    {"observed", "lamp", "never|on-access|always", "When does the drive's lamp light?"},
    {"observed", "spindle", "still|turns|turns-slowly|always-turns", "What does the spindle do on an access?"},
    {"observed", "head-at-start", "still|moves|hammers", "What does the head do at the start?"},
    {"observed", "noise", "none|hammers|grinds|buzzes|squeals", "Is there a noise that should not be?"},
    {"observed", "carriage", "free|stiff|blocked|damaged", "By hand, power off: does the head carriage run freely over its whole way?"},
    {"observed", "belt-looks", "sound|slack|broken", "How does the drive belt look?"},
    {"observed", "heads-look", "clean|dirty|damaged", "How do the heads look (lint-free swab, power off)?"},
    {"observed", "plugs-look", "sound|loose|wrong-way|corroded|pinched", "How do plugs and cable look, pin 1 at both ends?"},
    {"observed", "drive-board-looks", "sound|leaked|burnt|broken", "How does the drive's own board look?"},
    {"observed", "sensors-look", "sound|dirty|moved|broken", "How do the drive's index, track-0 and protect sensors look, their wires too?"},
    {"observed", "supply-looks", "sound|leaked|burnt", "How does the supply look from outside, or opened by licensed hands?"},
    {"observed", "machine-board-looks", "sound|leaked|burnt|corroded", "How does the machine's board look, its sockets too?"},
    {"observed", "disk-looks", "sound|ring|mouldy|wrong-type", "How does the disk's surface look, and is it of the density that the drive wants?"},
    {"observed", "hot", "none|drive|machine|supply", "Does some part get too hot, or smell burnt?"},
    {"observed", "life", "normal|drive-dead|all-dead|fuse-trips", "Is there any sign of life: drive, whole unit, or does a fuse or breaker trip?"},
    {"observed", "machine-otherwise", "works|unstable|dead", "Apart from disks: does the machine work?"},
    {"observed", "index-seen", "none|regular|irregular", "Does a probe on INDEX see pulses while the disk turns?"},
    {"observed", "read-signal-seen", "none|pulses", "Does a probe on RDATA see pulses while a recorded disk turns?"},
    {"observed", "speed-measured", "right|slow|fast|unsteady|wrong", "What did another instrument or program say of the speed?"},
    {"observed", "strobe", "still|drifts-forward|drifts-back", "Under a mains lamp, does the strobe disc stand still?"},
    {"observed", "fails-on", "everything|some-reads|write|format|reads", "What fails: everything, only some reads, only writing, only formatting, every read while writing seems to go?"},
    {"observed", "reported", "no-drive|not-ready|no-disk|protected|not-found|read-error|seek-error|disk-full", "Of which kind is the machine's complaint?"},
    {"observed", "disks-failing", "one|some|own|foreign|all", "Which disks fail: one, some, those written here, those written elsewhere, all?"},
    {"observed", "own-disks-elsewhere", "read|fail", "Do other drives read what this drive writes?"},
    {"observed", "disks-harmed", "no|erased|ring", "What happens to disks in this drive: nothing, erased, a ring worn in?"},
    {"observed", "bad-data", "none|scattered|same-bit|blocks", "Where data come wrong: scattered, always the same bit, whole blocks?"},
    {"observed", "sides-failing", "none|0|1|both", "Which sides of the disk fail?"},
    {"observed", "cylinders-failing", "none|outer|inner|some|all", "Which cylinders fail?"},
    {"observed", "other-drive-unplugged", "no-change|cures|worse", "What changes when the other drive is unplugged?"},
    {"observed", "drives-together", WORDS_YES, "Do two drives answer at once, as if they were one?"},
    {"observed", "comes-and-goes", "no|yes|worse-with-time", "Does the fault come and go, or grow?"},
    {"observed", "moves-with", "nothing|plugs|chips|drive|panel", "What changes the fault when it is touched, pressed or moved?"},
    {"observed", "power-cycle", "no-change|cures|worse", "Switched off for some minutes and on again: does it work for a while, or less?"},
    {"observed", "began", "suddenly|slowly", "Did it begin from one day to the next, or grow slowly?"},
    {"observed", "case", "open|closed|both", "Does it fail with the machine's case open, closed, or both ways?"},
    {"observed", "place", "anywhere|here-only", "Does it fail anywhere, or only in this bay, this place, this way up?"},
    {"observed", "warm", "cold|warm|both", "Does it fail cold, warm, or both?"},
    {"observed", "changed-last", "nothing|cable|drive|machine|chip|disk|power|settings|moved", "What was changed last before it failed?"},
    {"observed", "shared-event", "none|water|surge|reversed-plug|bad-disk|moved|stored", "Did something happen to the whole set before?"},

    {"swap", "part", WORDS_PART, "Which part was exchanged?"},
    {"swap", "condition", "known-good|unknown", "Was the spare seen to work elsewhere?"},
    {"swap", "outcome", "worked|failed|sometimes", "What came of it?"},
    {"swap", "into", "suspect-chain|good-chain", "Was a good part put into this set, or a part of this set into a good one?"},
    {"swap", "back", "fault-returned|stayed-away|not-tried", "Did the fault come back with the old part?"},
    {"swap", "reseated", WORDS_YES, "Were plugs or chips pushed home in doing so?"},
    {"swap", "elsewhere", "worked|failed|not-tried", "Does the part that came out work elsewhere?"},
    {"swap", "count", "number:1:20", "How many spares of this part were tried, with the same outcome?"},

    {"meter", "what", "level-low|level-high|rail|ohms-to-5V|ohms-to-ground|ground-difference", "What was measured (ohms only with power off)?"},
    {"meter", "at", "machine-end|drive-end|power-plug", "At which plug?"},
    {"meter", "line", "line", "On which line or rail?"},
    {"meter", "value", "quantity", "What did it read, with its unit?"},
    {"meter", "when", "off|idle|motor-start|motor-runs|head-loads", "When?"},

    {"probe", "line", "line", "Which line was probed?"},
    {"probe", "at", "machine-end|drive-end", "At which plug?"},
    {"probe", "state", "never|toggles|always|erratic", "During an access the line was: never active, switching, always active?"},

    {"repair", "part", WORDS_PART "|setup", "Which part was repaired or set right (setup: straps, terminators, settings, mounting, place)?"},
    {"repair", "did", WORDS_DID, "Of which kind was the work?"},
    {"repair", "done", "text", "What was done, in your words?"},
    {"repair", "when", "text", "When?"},
    {"repair", "outcome", "worked|partly|failed|sometimes", "What came of it (partly: better, but a fault is left)?"},
    {"examined", "found", "yes|no", "The section bears a fault's name: the test that a verdict names for it was made; was it found?"},

    {"selfcheck", "result", "passed|failed|not-done", "Did the adapter's self-check pass?"},
    {"selfcheck", "cable", "sound|faulty|comes-and-goes|not-done", "What did the check of the cable alone say (selfcheck --role both-plugs)?"},
    {"selfcheck", "hours-ago", "number:0:100000", "How many hours ago?"},

    {"have", "spare-drive", WORDS_YES, "Is a spare drive at hand?"},
    {"have", "spare-cable", WORDS_YES, "Is a spare cable at hand?"},
    {"have", "spare-machine", WORDS_YES, "Is another machine that works at hand?"},
    {"have", "second-lead", WORDS_YES, "Are there test leads for a second tap?"},
    {"have", "adapter", WORDS_YES, "Is an adapter at hand?"},
    {"have", "meter", WORDS_YES, "Is a meter at hand?"},
    {"have", "scratch-disk", WORDS_YES, "Is a disk at hand that may be overwritten?"},
    {"have", "alignment-disk", WORDS_YES, "Is an alignment disk at hand?"},
};

static const struct case_section sections[] = {
    {"case", NAME_NONE}, {"lines", NAME_MAYBE}, {"capture", NAME_NEEDED}, {"observed", NAME_NONE},
    {"swap", NAME_NEEDED}, {"meter", NAME_NEEDED}, {"probe", NAME_NEEDED}, {"repair", NAME_NEEDED}, {"examined", NAME_NEEDED},
    {"selfcheck", NAME_NONE}, {"have", NAME_NONE},
};
// clang-format on

#define KEYS     (sizeof table / sizeof table[0])
#define SECTIONS (sizeof sections / sizeof sections[0])

size_t case_keys(const struct case_key **out)
{
    *out = table;
    return KEYS;
}

const struct case_key *case_key_find(const char *section, const char *key)
{
    for (size_t i = 0; i < KEYS; i++) {
        if (strcmp(table[i].section, section) == 0 && strcmp(table[i].key, key) == 0) {
            return &table[i];
        }
    }
    return NULL;
}

const struct case_section *case_section_find(const char *word)
{
    for (size_t i = 0; i < SECTIONS; i++) {
        if (strcmp(sections[i].word, word) == 0) {
            return &sections[i];
        }
    }
    return NULL;
}

bool case_section_named(const char *section)
{
    const struct case_section *s = case_section_find(section);
    return s != NULL && s->name == NAME_NEEDED;
}

const char *case_nearest_key(const char *section, const char *key)
{
    const char *best = NULL;
    size_t distance = NEAR_MAX + 1;
    for (size_t i = 0; i < KEYS; i++) {
        if (strcmp(table[i].section, section) == 0) {
            near_word(key, table[i].key, &best, &distance);
        }
    }
    return best;
}

const char *case_nearest_section(const char *word)
{
    const char *best = NULL;
    size_t distance = NEAR_MAX + 1;
    for (size_t i = 0; i < SECTIONS; i++) {
        near_word(word, sections[i].word, &best, &distance);
    }
    return best;
}

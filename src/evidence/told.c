#include "evidence/told.h"

#include <string.h>

// clang-format off
static const struct told_row rows[TOLD_QUESTIONS] = {
    [TOLD_LAMP_HOST_OFF] = {"observed", "lamp-host-off", GROUP_SELECT, 2, "the lamp is lit with the machine off"},
    [TOLD_MOTOR_HOST_OFF] = {"observed", "motor-host-off", GROUP_SELECT, 2, "the motor turns with the machine off"},
    [TOLD_LAMP] = {"observed", "lamp", GROUP_SELECT, 3, "the drive's lamp lights"},
    [TOLD_SPINDLE] = {"observed", "spindle", GROUP_MOTOR, 4, "the spindle"},
    [TOLD_HEAD] = {"observed", "head-at-start", GROUP_HEAD, 3, "the head at the start"},
    [TOLD_NOISE] = {"observed", "noise", GROUP_HEAD, 5, "noise"},
    [TOLD_CARRIAGE] = {"observed", "carriage", GROUP_HEAD, 4, "the head carriage by hand"},
    [TOLD_BELT] = {"observed", "belt-looks", GROUP_MOTOR, 3, "the belt"},
    [TOLD_HEADS] = {"observed", "heads-look", GROUP_READ, 3, "the heads look"},
    [TOLD_PLUGS] = {"observed", "plugs-look", GROUP_SELECT, 5, "plugs and cable look"},
    [TOLD_DRIVE_BOARD] = {"observed", "drive-board-looks", GROUP_POWER, 4, "the drive's board looks"},
    [TOLD_SENSORS] = {"observed", "sensors-look", GROUP_HEAD, 4, "the drive's sensors look"},
    [TOLD_SUPPLY] = {"observed", "supply-looks", GROUP_POWER, 3, "the supply looks"},
    [TOLD_MACHINE_BOARD] = {"observed", "machine-board-looks", GROUP_MACHINE, 4, "the machine's board looks"},
    [TOLD_DISK_LOOKS] = {"observed", "disk-looks", GROUP_READ, 4, "the disk looks"},
    [TOLD_HOT] = {"observed", "hot", GROUP_POWER, 4, "too hot"},
    [TOLD_LIFE] = {"observed", "life", GROUP_POWER, 4, "sign of life"},
    [TOLD_OTHERWISE] = {"observed", "machine-otherwise", GROUP_MACHINE, 3, "apart from disks the machine"},
    [TOLD_INDEX_SEEN] = {"observed", "index-seen", GROUP_MOTOR, 3, "a probe on INDEX sees pulses"},
    [TOLD_READ_SEEN] = {"observed", "read-signal-seen", GROUP_READ, 2, "a probe on RDATA sees"},
    [TOLD_SPEED] = {"observed", "speed-measured", GROUP_MOTOR, 5, "another instrument finds the speed"},
    [TOLD_STROBE] = {"observed", "strobe", GROUP_MOTOR, 3, "the strobe disc under mains light"},
    [TOLD_FAILS_ON] = {"observed", "fails-on", GROUP_MACHINE, 5, "what fails"},
    [TOLD_REPORTED] = {"observed", "reported", GROUP_MACHINE, 8, "the machine complains of"},
    [TOLD_DISKS_FAILING] = {"observed", "disks-failing", GROUP_READ, 5, "disks that fail"},
    [TOLD_OWN_ELSEWHERE] = {"observed", "own-disks-elsewhere", GROUP_WRITE, 2, "what it writes, other drives"},
    [TOLD_HARMED] = {"observed", "disks-harmed", GROUP_WRITE, 3, "harm to disks"},
    [TOLD_BAD_DATA] = {"observed", "bad-data", GROUP_MACHINE, 4, "wrong data"},
    [TOLD_SIDES] = {"observed", "sides-failing", GROUP_READ, 4, "sides that fail"},
    [TOLD_CYLINDERS] = {"observed", "cylinders-failing", GROUP_READ, 5, "cylinders that fail"},
    [TOLD_UNPLUGGED] = {"observed", "other-drive-unplugged", GROUP_SELECT, 3, "with the other drive unplugged"},
    [TOLD_TOGETHER] = {"observed", "drives-together", GROUP_SELECT, 2, "two drives answer at once"},
    [TOLD_COMES_AND_GOES] = {"observed", "comes-and-goes", GROUP_PERSON, 3, "the fault comes and goes"},
    [TOLD_MOVES_WITH] = {"observed", "moves-with", GROUP_PERSON, 5, "the fault changes when touching"},
    [TOLD_POWER_CYCLE] = {"observed", "power-cycle", GROUP_PERSON, 3, "off for some minutes and on again"},
    [TOLD_BEGAN] = {"observed", "began", GROUP_PERSON, 2, "it began"},
    [TOLD_CASE] = {"observed", "case", GROUP_PERSON, 3, "it fails with the case"},
    [TOLD_PLACE] = {"observed", "place", GROUP_PERSON, 2, "it fails"},
    [TOLD_WARM] = {"observed", "warm", GROUP_PERSON, 3, "it fails"},
    [TOLD_CHANGED] = {"observed", "changed-last", GROUP_PERSON, 9, "changed last"},
    [TOLD_EVENT] = {"observed", "shared-event", GROUP_PERSON, 7, "what happened before"},
    [TOLD_OTHER_DRIVE] = {"case", "other-drive", GROUP_MACHINE, 3, "the other drive on the same cable"},
    [TOLD_WAY_UP] = {"case", "disk-way-up", GROUP_READ, 2, "the disk was put in"},
    [TOLD_TERMINATOR] = {"case", "terminator", GROUP_SELECT, 5, "terminator"},
    [TOLD_CABLE] = {"selfcheck", "cable", GROUP_SWAP, 3, "the cable alone, pin by pin, is"},
};
// clang-format on

const struct told_row *told_row(enum told_question q)
{
    return &rows[q];
}

enum told_question told_question_by_key(const char *section, const char *key)
{
    int q = 0;

    while (q < TOLD_QUESTIONS &&
           (strcmp(rows[q].section, section) != 0 || strcmp(rows[q].key, key) != 0))
        q++;
    return (enum told_question)q;
}

static const struct case_key *key_of(enum told_question q)
{
    return case_key_find(rows[q].section, rows[q].key);
}

int told_answer(enum told_question q, const char *word)
{
    int i = case_word_place(key_of(q), word);

    return i < rows[q].answers ? i : -1;
}

const char *told_word(enum told_question q, int answer, char out[CASE_WORD_MAX])
{
    return case_word(key_of(q), answer, out);
}

unsigned repair_kind_bit(const char *word)
{
    int i = case_word_place(case_key_find("repair", "did"), word);

    return i < 0 ? 0 : 1u << i;
}

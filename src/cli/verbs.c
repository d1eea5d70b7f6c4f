/* The verbs: one table for help, parsing and running. */
#include "cli/cli.h"

#include <stdio.h>
#include <string.h>

#define SHOWS  (OPT_BIT(OPT_JSON) | OPT_BIT(OPT_PROFILES))
#define WRITES (OPT_BIT(OPT_OUTPUT) | OPT_BIT(OPT_REPLACE) | OPT_BIT(OPT_QUIET))
#define OF_A_CAPTURE                                                                           \
    (OPT_BIT(OPT_NAME) | OPT_BIT(OPT_ROLE) | OPT_BIT(OPT_TAP) | OPT_BIT(OPT_PULL_UP) |         \
     OPT_BIT(OPT_RUN) | OPT_BIT(OPT_AFTER) | OPT_BIT(OPT_ASKED) | OPT_BIT(OPT_OUTCOME) |       \
     OPT_BIT(OPT_DISK) | OPT_BIT(OPT_LINE))
#define PARTS (OPT_BIT(OPT_MACHINE) | OPT_BIT(OPT_DRIVE) | OPT_BIT(OPT_CABLE))

// clang-format off
static const struct verb table[] = {
    {"judge", "CASE", "weigh a case and say what is at fault",
     "CASE is a folder with a case.ini, or that file. Every capture of the case is read and weighed with "
     "what was observed and tried.\n"
     "Exit status: 0 nothing at fault, 3 decided for an end, 4 leaning or undecided.",
     SHOWS | OPT_BIT(OPT_VERBOSE) | OPT_BIT(OPT_QUIET), 1, 1, verb_judge},
    {"measure", "CAPTURE", "rotation, index, lines, flux and sectors of one capture",
     "CAPTURE is VCD (plain or gzip), CSV or .wec. A drive's profile gives its rated speed and the "
     "pulses that a tap must be able to see.",
     SHOWS | OPT_BIT(OPT_LINE) | OPT_BIT(OPT_DRIVE_PROFILE) | OPT_BIT(OPT_VERBOSE) | OPT_BIT(OPT_QUIET), 1, 1,
     verb_measure},
    {"import", "CAPTURE -o FILE.wec", "VCD or CSV to a capture file",
     "The result holds the lines and rails that were found or mapped, and nothing else.",
     WRITES | OPT_BIT(OPT_LINE) | OPT_BIT(OPT_ROLE) | OPT_BIT(OPT_TAP), 1, 1, verb_import},
    {"export", "CAPTURE -o FILE", "a capture to VCD or CSV",
     "The form follows the name: .vcd or .csv, deflated where .gz stands behind it.",
     WRITES | OPT_BIT(OPT_LINE), 1, 1, verb_export},
    {"case new", "FOLDER", "open a case",
     "Makes the folder and its case.ini.",
     OPT_BIT(OPT_TITLE) | PARTS | OPT_BIT(OPT_DISK) | OPT_BIT(OPT_PROFILES), 1, 1, verb_case_new},
    {"case note", "CASE KEY=VALUE...", "note what was seen, measured or tried",
     "KEY is a key of [case], [observed], [selfcheck] or [have] (whichend case questions lists them), or "
     "SECTION.KEY for one with a name: 'swap other-drive.outcome=failed'. Comments in case.ini stay.",
     OPT_BIT(OPT_PROFILES), 2, WORDS_MAX, verb_case_note},
    {"case add", "CASE CAPTURE", "add a capture to a case",
     "The file is copied into the case's folder and named in case.ini.",
     OF_A_CAPTURE | OPT_BIT(OPT_PROFILES), 2, 2, verb_case_add},
    {"case show", "CASE", "check a case and show what it holds",
     "Reads case.ini and the profiles it names; the captures are not opened.",
     SHOWS, 1, 1, verb_case_show},
    {"case questions", "[CASE]", "list everything that a case can say",
     "With a case, what it says already stands beside the question, and the questions that would help it most "
     "stand first.",
     SHOWS, 0, 1, verb_case_questions},
    {"case ask", "CASE", "answer the open questions of a case one by one",
     "The question that tells most comes first, anew after each answer; every one may be skipped. Each answer is "
     "written to case.ini at once.",
     OPT_BIT(OPT_PROFILES), 1, 1, verb_case_ask},
    {"profile list", "", "list the profiles of drives, machines and cables",
     "Looked for in --profiles DIR, $WHICHEND_PROFILES, the user's config folder, the installed data folder, "
     "and beside the source tree the program was built from.",
     SHOWS, 0, 0, verb_profile_list},
    {"profile show", "PROFILE", "show a profile's values with their sources", "",
     SHOWS, 1, 1, verb_profile_show},
    {"profile check", "[PROFILE or FILE...]", "check profiles: keys, units, limits, pins, a source for each value",
     "Without a word, every profile is checked. Exit status 65 where something is wrong.",
     OPT_BIT(OPT_PROFILES), 0, WORDS_MAX, verb_profile_check},
    {"rehearse", "-o FOLDER", "a simulated subsystem with a fault of your choice",
     "Writes a whole case, ready for judge: machine, cable, drive and disk are played in time, with none, one or "
     "two faults. The same options and seed give the same bytes.",
     OPT_BIT(OPT_FAULT) | OPT_BIT(OPT_SEED) | PARTS | OPT_BIT(OPT_DISK) | OPT_BIT(OPT_ASKED) | OPT_BIT(OPT_TAPS) |
         OPT_BIT(OPT_TWO_CLOCKS) | OPT_BIT(OPT_FLUX_MS) | OPT_BIT(OPT_FORMAT) | OPT_BIT(OPT_PULL_UP) |
         OPT_BIT(OPT_LIST) | OPT_BIT(OPT_OUTPUT) | SHOWS,
     0, 0, verb_rehearse},
    {"record", "-o FILE.wec", "take a capture through the adapter",
     "In line it listens for --seconds between machine and drive; as-machine it restores and reads --cylinders and "
     "--sides, so many --turns each, within the drive profile's limits; as-drive it answers the machine with the "
     "disk of --play and watches what is asked.\n"
     "Nothing is opened before the person has said that no disk is in any drive. What the adapter could not keep "
     "is marked as not recorded. Ctrl-C ends it at any time: the file is whole.\n"
     "--adapter sim:FAULT plays the adapter, with a fault of rehearse or one of the adapter's own; none, or several "
     "with commas.",
     OPT_BIT(OPT_ADAPTER) | OPT_BIT(OPT_DISK_OUT) | OPT_BIT(OPT_ROLE) | OPT_BIT(OPT_TAP) | OPT_BIT(OPT_SECONDS) |
         OPT_BIT(OPT_TRIGGER) | OPT_BIT(OPT_CYLINDERS) | OPT_BIT(OPT_SIDES) | OPT_BIT(OPT_TURNS) | OPT_BIT(OPT_UNIT) |
         OPT_BIT(OPT_PLAY) | OPT_BIT(OPT_IMAGE) | OPT_BIT(OPT_WORN) | OPT_BIT(OPT_LIST) | OPT_BIT(OPT_SEED) | OPT_BIT(OPT_ASKED) | PARTS | WRITES | SHOWS,
     0, 0, verb_record},
    {"selfcheck", "", "check the adapter, its leads and a cable before trusting them",
     "--role loop, as without it: the loop plug on the adapter's leads, and every output, input and lead is tried. "
     "--role both-plugs: a cable alone between the adapter's two sockets; each pin is pulled in turn, and open, shorted, "
     "exchanged and turned-over conductors are named with their pins. Nothing else may be on the leads: it refuses where "
     "one carries voltage.\n"
     "--wiggle goes on while the cable is moved, until Enter or for --seconds, and tells each change at once.\n"
     "Exit status: 0 sound, 3 a fault was found, 4 something could not be tested.",
     OPT_BIT(OPT_ADAPTER) | OPT_BIT(OPT_DISK_OUT) | OPT_BIT(OPT_ROLE) | OPT_BIT(OPT_WIGGLE) | OPT_BIT(OPT_SECONDS) |
         OPT_BIT(OPT_CASE) | OPT_BIT(OPT_LIST) | OPT_BIT(OPT_SEED) | PARTS | OPT_BIT(OPT_QUIET) | SHOWS,
     0, 0, verb_selfcheck},
    {"adjust", "[speed|heads]", "live figures while a person turns a screw",
     "speed: the drive is selected and turned on, and the mean of the last turns is shown with its trend and a bar to aim "
     "at, with the limits of the drive's profile; Enter ends it.\n"
     "heads: the margin of the read signal at one track, from both sides and under both heads, on at least three protected "
     "disks that different drives wrote (--disk-name), once a mark is scribed. It is no alignment.\n"
     "--turns and --seconds bound it for scripts. Ctrl-C ends it with 130 and the figures so far on standard error.\n"
     "Exit status: 0 inside the maker's limit (heads: shown), 3 outside, 4 not measured.",
     OPT_BIT(OPT_ADAPTER) | OPT_BIT(OPT_DISK_OUT) | OPT_BIT(OPT_TURNS) | OPT_BIT(OPT_SECONDS) | OPT_BIT(OPT_CYLINDERS) |
         OPT_BIT(OPT_UNIT) | OPT_BIT(OPT_DISK_NAME) | OPT_BIT(OPT_MARK_SCRIBED) | OPT_BIT(OPT_LIST) | OPT_BIT(OPT_SEED) | PARTS |
         OPT_BIT(OPT_QUIET) | SHOWS,
     0, 1, verb_adjust},
    {"archive", "CAPTURE... or --adapter WHICH, -o FOLDER", "save a disk: sector image and map of what is sound",
     "Captures, of several drives and days where one alone did not give all, are merged sector by sector. FOLDER "
     "gets disk.img, the sectors by cylinder, side and number, and disk.json: each sector's state, where and how "
     "often it was read, and what stands where nothing was.\n"
     "good: the check bytes of one turn alone agreed; sure: two turns gave the same. What was put together from "
     "turns or chosen by the check bytes is repaired; damaged is apart from absent.\n"
     "Over an adapter it goes once through the disk, looks at a track of it again every ten cylinders and stops where "
     "that reads worse, then reads again what is not sure, each time otherwise; FOLDER gets disk.wec too. A cut or "
     "Ctrl-C loses at most the track in hand: --resume goes on.\n"
     "A failing drive destroys disks. Before a valued one goes in, --affirm (or, at a terminal, an answer) says that "
     "heads-cleaned: the heads were looked at and cleaned; scratch-alike: a scratch disk was read, taken out, put back "
     "and read again with equal results; no-ring: that disk shows no ring under a lamp; disk-looked-at: the valued "
     "disk was turned by hand, no mould, no sticking. The disk must read protected, and WGATE be quiet.\n"
     "Exit status: 0 all good, 4 not whole.",
     OPT_BIT(OPT_LINE) | OPT_BIT(OPT_DRIVE_PROFILE) | OPT_BIT(OPT_OBJECT) | OPT_BIT(OPT_RESUME) | OPT_BIT(OPT_ADAPTER) |
         OPT_BIT(OPT_DISK_OUT) | OPT_BIT(OPT_AFFIRM) | OPT_BIT(OPT_ACCEPT_RISK) | OPT_BIT(OPT_CYLINDERS) |
         OPT_BIT(OPT_SIDES) | OPT_BIT(OPT_TURNS) | OPT_BIT(OPT_UNIT) | OPT_BIT(OPT_IMAGE) | OPT_BIT(OPT_WORN) |
         OPT_BIT(OPT_SEED) | OPT_BIT(OPT_VERBOSE) | PARTS | WRITES | SHOWS,
     0, WORDS_MAX,
     verb_archive},
    {"report", "CASE [-o FILE.html]", "one self-contained HTML page with plots",
     "Weighs the case as judge does and writes what it found, with the case's facts and plots of every capture, to "
     "one page that needs no network and no script. Without -o it is report.html in the case's folder. The first 12 "
     "captures are drawn; a page has at most 20 MiB. Beside the case it can show an acceptance sheet that accept "
     "saved, or two compared, and what archive found on a disk.\n"
     "Exit status: 0 when the page was written, whatever the verdict on it: judge gives the verdict's.",
     SHOWS | WRITES | OPT_BIT(OPT_VERBOSE) | OPT_BIT(OPT_SHEET) | OPT_BIT(OPT_ARCHIVE), 1, 1, verb_report},
    {"accept", "--drive PROFILE [CAPTURE...]", "acceptance test of a drive",
     "Captures of one drive become a sheet: each line a value with its uncertainty (95 %), the limit and its source, "
     "and whether it passes. What the captures do not show is said to be not measured, and why. -o saves the sheet as "
     "JSON; --compare takes two of those, before and after a repair or months apart.\n"
     "With --adapter the drive is worked as a machine would: starts, track 0, every cylinder from both sides. A "
     "recorded disk is in it, protected. --keep leaves the captures of the run, from which the same sheet can be "
     "drawn again.\n"
     "Exit status: 0 passed, 3 failed, 4 not everything could be measured.",
     SHOWS | WRITES | OPT_BIT(OPT_LINE) | OPT_BIT(OPT_DRIVE) | OPT_BIT(OPT_SERIAL) | OPT_BIT(OPT_WRITTEN_BY) |
         OPT_BIT(OPT_COMPARE) | OPT_BIT(OPT_VERBOSE) | OPT_BIT(OPT_ADAPTER) | OPT_BIT(OPT_DISK_OUT) |
         OPT_BIT(OPT_UNIT) | OPT_BIT(OPT_SEED) | OPT_BIT(OPT_MACHINE) | OPT_BIT(OPT_CABLE) | OPT_BIT(OPT_QUICK) |
         OPT_BIT(OPT_KEEP) | OPT_BIT(OPT_HANDS) |
         OPT_BIT(OPT_SCRATCH) | OPT_BIT(OPT_WARM) | OPT_BIT(OPT_ELSEWHERE),
     0, WORDS_MAX, verb_accept},
    {"version", "", "this program's version", "", 0, 0, 0, verb_version},
};
// clang-format on

const struct verb *verbs(size_t *count)
{
    *count = sizeof table / sizeof table[0];
    return table;
}

const struct verb *verb_find(int argc, char *const *argv, int *used)
{
    for (int words = 2; words >= 1; words--) {
        char name[64];
        if (argc < words) {
            continue;
        }
        (void)snprintf(name, sizeof name, "%s%s%s", argv[0], words > 1 ? " " : "",
                       words > 1 ? argv[1] : "");
        for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
            if (strcmp(table[i].name, name) == 0) {
                *used = words;
                return &table[i];
            }
        }
    }
    return NULL;
}

#!/bin/sh
# cables.sh WHICHEND JSON_GET: selfcheck of a cable through the simulated adapter. Each signal
# conductor open and shorted to ground, each pair two pins apart shorted, plugs and twist: named
# with line and pins, and nothing else is named; nothing at all on a good cable. Pin numbers are
# those of the handbook's timing.md, pin34.p02..p34, pin34.tw10..tw16, pin34.twist, pin50.p02..p46.
set -eu
whichend=$1 get=$2
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
bad=0 tried=0
also= # faults of the adapter before each fault tried

check() { # CABLE FAULT [OPTION...]
  cable=$1 fault=$2
  shift 2
  status=0
  "$whichend" selfcheck --role both-plugs --disk-out --cable "$cable" --adapter "sim:$also$fault" --json "$@" \
    >"$work/json" 2>"$work/err" || status=$?
  tried=$((tried + 1))
}

complain() {
  echo "$cable, $fault: $1"
  bad=1
}

# The first fault's name, pins; and no second one.
expect() { # FAULT LINE PIN FAR
  if [ $status -ne 3 ]; then
    complain "exit status $status: $(cat "$work/err")"
  elif got=$("$get" "$work/json" result faults.0.fault faults.0.line faults.0.machine_pin faults.0.drive_pin |
    tr '\n' ' ') && [ "$got" != "failed $1 $2 $3 $4 " ]; then
    complain "says '$got', not '$1 $2 $3 $4'"
  elif "$get" "$work/json" faults.1.fault >"$work/more" 2>&1; then
    complain "also names $(cat "$work/more")"
  fi
}

sound() { # CABLE CONDUCTORS
  check "$1" none
  [ $status -eq 0 ] || complain "exit status $status"
  n=0
  while "$get" "$work/json" "conductors.$n.state" >"$work/state" 2>&1; do
    [ "$(cat "$work/state")" = sound ] || complain "conductor $n is not sound"
    n=$((n + 1))
  done
  [ $n -eq "$2" ] || complain "$n conductors, not $2"
  "$get" "$work/json" faults.0.fault >"$work/more" 2>&1 && complain "names $(cat "$work/more")"
  return 0
}

# All conductors of a cable: "LINE PIN FAR" a line on standard input.
conductors() { # CABLE
  before='' before_pin=0 before_far=0
  while read -r line pin far; do
    check "$1" "cable.$line.open"
    expect "cable.$line.open" "$line" "$pin" "$far"
    check "$1" "cable.$line.short"
    expect "cable.$line.short" "$line" "$pin" "$far"
    if [ $((pin - before_pin)) -eq 2 ] && [ "$before_pin" -gt 0 ]; then
      check "$1" "cable.$before+$line.short"
      expect "cable.$before+$line.short" "$before" "$before_pin" "$before_far"
    fi
    before=$line before_pin=$pin before_far=$far
  done
}

plugs() { # CABLE; both plugs, by the seed
  for seed in 1 2 3 4 5; do
    for mode in reversed off-by-pair off-by-row unplugged; do
      check "$1" "cable.plug.$mode" --seed $seed
      expect "cable.plug.$mode" null null null
    done
  done
}

sound ribbon-34-straight 17
conductors ribbon-34-straight <<END
DENSITY 2 2
INUSE 4 4
SELECT3 6 6
INDEX 8 8
SELECT0 10 10
SELECT1 12 12
SELECT2 14 14
MOTOR 16 16
DIR 18 18
STEP 20 20
WDATA 22 22
WGATE 24 24
TRK00 26 26
WPROT 28 28
RDATA 30 30
SIDE 32 32
READY 34 34
END
plugs ribbon-34-straight
for seed in 1 2 3 4 5; do # a twist where none should be, at 10 to 16 or beside it
  check ribbon-34-straight cable.twist.wrong --seed $seed
  expect cable.twist.wrong null null null
done

sound ribbon-34-twisted 15
conductors ribbon-34-twisted <<END
DENSITY 2 2
INDEX 8 8
MOTOR0 10 16
SELECT1 12 14
SELECT0 14 12
MOTOR1 16 10
DIR 18 18
STEP 20 20
WDATA 22 22
WGATE 24 24
TRK00 26 26
WPROT 28 28
RDATA 30 30
SIDE 32 32
DSKCHG 34 34
END
plugs ribbon-34-twisted
for mode in missing wrong; do
  check ribbon-34-twisted cable.twist.$mode
  expect cable.twist.$mode null null null
done

sound ribbon-50 25 # 8, 48 and 50 have no line of ours
conductors ribbon-50 <<END
LOWCUR 2 2
FAULTRESET 4 4
FAULT 6 6
TWOSIDED 10 10
DSKCHG 12 12
SIDE 14 14
INUSE 16 16
HLOAD 18 18
INDEX 20 20
READY 22 22
SECTOR 24 24
SELECT0 26 26
SELECT1 28 28
SELECT2 30 30
SELECT3 32 32
DIR 34 34
STEP 36 36
WDATA 38 38
WGATE 40 40
TRK00 42 42
WPROT 44 44
RDATA 46 46
END
plugs ribbon-50

# Plugs that fit one way only, with as many signal conductors as their maps have.
sound ribbon-26 13
sound din-14 12
sound dsub-23 11
check din-14 cable.INDEX.open
expect cable.INDEX.open INDEX 4 8
check din-14 cable.RDATA.short
expect cable.RDATA.short RDATA 1 30

# Exchanged, and faults that come and go while the cable is moved.
check ribbon-34-straight cable.DIR+STEP.swapped
expect cable.DIR+STEP.swapped DIR 18 18
check ribbon-34-straight cable.INDEX+SIDE.swapped
expect cable.INDEX+SIDE.swapped INDEX 8 8
for line in "INDEX 8" "RDATA 30" "DENSITY 2"; do
  check ribbon-34-straight "cable.${line% *}.intermittent" --wiggle --seconds 2
  expect "cable.${line% *}.intermittent" "${line% *}" "${line#* }" "${line#* }"
done
check ribbon-34-straight cable.TRK00+WPROT.intermittent --wiggle --seconds 2
expect cable.TRK00+WPROT.intermittent TRK00 26 26
check ribbon-34-straight none --wiggle --seconds 2
[ $status -eq 0 ] || complain "exit status $status"

# Two things at once.
check ribbon-34-twisted cable.twist.missing,cable.INDEX.open
[ "$("$get" "$work/json" faults.0.fault faults.1.fault | tr '\n' ' ')" = "cable.twist.missing cable.INDEX.open " ] ||
  complain "does not name both"
check ribbon-34-straight cable.plug.off-by-pair,cable.RDATA.open
[ "$("$get" "$work/json" faults.0.fault faults.1.fault | tr '\n' ' ')" = "cable.plug.off-by-pair cable.RDATA.open " ] ||
  complain "does not name both: $(cat "$work/json")"
check ribbon-34-straight cable.SELECT3+INDEX.short,cable.INDEX+SELECT0.short
[ "$("$get" "$work/json" faults.0.fault faults.1.fault | tr '\n' ' ')" = \
  "cable.SELECT3+INDEX.short cable.INDEX+SELECT0.short " ] || complain "does not name both pairs"

# An adapter whose ground pins are wired apart looks at the grounds too.
grep -q 'grounds 1..33, use a meter' "$work/json" || complain "does not say that grounds are not tested"
also=adapter.grounds-apart,
sound ribbon-34-straight 34
sound ribbon-34-twisted 32
grep -q 'use a meter' "$work/json" && complain "grounds are called not tested"
for cable in ribbon-34-straight ribbon-34-twisted; do
  plugs $cable
  for mode in short open; do
    check $cable cable.INDEX.$mode
    expect cable.INDEX.$mode INDEX 8 8
  done
  check $cable cable.ground.open
  n=0
  while [ $n -lt 17 ]; do # each is named with its pins
    pin=$((2 * n + 1)) far=$((2 * n + 1))
    [ $cable = ribbon-34-twisted ] && [ $pin -ge 11 ] && [ $pin -le 15 ] && far=$((26 - pin))
    got=$("$get" "$work/json" faults.$n.fault faults.$n.machine_pin faults.$n.drive_pin | tr '\n' ' ')
    [ "$got" = "cable.ground.open $pin $far " ] || complain "says '$got' of ground $pin"
    n=$((n + 1))
  done
  "$get" "$work/json" faults.17.fault >"$work/more" 2>&1 && complain "also names $(cat "$work/more")"
done
also=

# A conductor that carries voltage is never pulled.
check ribbon-34-straight adapter.voltage
[ $status -eq 69 ] || complain "exit status $status, not 69"
[ ! -s "$work/json" ] || complain "standard output is not empty"

echo "$tried cables"
exit $bad

#!/bin/sh
# loop.sh WHICHEND JSON_GET: selfcheck of the adapter's own outputs, inputs and leads. Every line's
# faults one by one; where the loop plug joins three, a line that is held is told as one of them.
set -eu
whichend=$1 get=$2
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
bad=0 tried=0

check() { # FAULT [OPTION...]
  fault=$1
  shift
  status=0
  "$whichend" selfcheck --disk-out --adapter "sim:$fault" --json "$@" >"$work/json" 2>"$work/err" || status=$?
  tried=$((tried + 1))
}

complain() {
  echo "$fault: $1"
  bad=1
}

expect() { # STATUS FAULT LINE
  if [ $status -ne "$1" ]; then
    complain "exit status $status: $(cat "$work/err")"
  elif got=$("$get" "$work/json" faults.0.fault faults.0.line | tr '\n' ' ') && [ "$got" != "$2 $3 " ]; then
    complain "says '$got', not '$2 $3'"
  elif "$get" "$work/json" faults.1.fault >"$work/more" 2>&1; then
    complain "also names $(cat "$work/more")"
  fi
}

# One of three, and the line among them.
expect_held() { # LINE
  name=$("$get" "$work/json" faults.0.fault)
  case $status:$name in
    3:setup.lead.*.held) ;;
    *) complain "exit status $status, says $name" ;;
  esac
  case "+${name#setup.lead.}" in
    *+"$1"+* | *+"$1".held) ;;
    *) complain "says $name, without $1" ;;
  esac
}

lines="SELECT0 SELECT1 SELECT2 SELECT3 MOTOR MOTOR0 MOTOR1 DIR STEP SIDE WGATE WDATA DENSITY HLOAD INUSE LOWCUR
FAULTRESET INDEX TRK00 WPROT RDATA READY DSKCHG HDOUT SECTOR TWOSIDED FAULT"

for f in none adapter.write-link.closed adapter.no-pull-ups; do
  check $f
  [ $status -eq 0 ] || complain "exit status $status"
done
last=
for line in $lines; do
  check "adapter.input.$line.stuck"
  expect 3 "setup.input.$line.stuck" "$line"
  check "adapter.output.$line.stuck"
  expect_held "$line"
  check "adapter.lead.$line.short"
  expect_held "$line"
  if [ "$line" = WGATE ]; then # as shipped its own output cannot be tried
    check "adapter.input.WGATE.dead"
    [ $status -eq 4 ] && [ "$("$get" "$work/json" undecided.0.line)" = WGATE ] || complain "exit status $status"
    check "setup.lead.WGATE.open"
    [ $status -eq 4 ] && [ "$("$get" "$work/json" undecided.0.line)" = WGATE ] || complain "exit status $status"
    closed=,adapter.write-link.closed
  fi
  check "adapter.input.$line.dead${closed:-}"
  expect 3 "setup.input.$line.dead" "$line"
  check "adapter.output.$line.dead${closed:-}"
  expect 3 "setup.output.$line.dead" "$line"
  check "setup.lead.$line.open${closed:-}"
  expect 3 "setup.lead.$line.open" "$line"
  closed=
  if [ -n "$last" ]; then
    check "adapter.lead.$last+$line.swapped"
    expect 3 "setup.lead.$last+$line.swapped" "$last"
  fi
  last=$line
done

check adapter.lead.RDATA.intermittent --wiggle --seconds 3
expect 3 setup.lead.RDATA.intermittent RDATA
check none --wiggle --seconds 3
[ $status -eq 0 ] || complain "exit status $status"
check adapter.voltage
[ $status -eq 69 ] && [ ! -s "$work/json" ] || complain "exit status $status, not 69"

echo "$tried adapters"
exit $bad

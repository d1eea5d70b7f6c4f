#!/bin/sh
# record_cases.sh USB_BENCH WHICHEND FLUX_CHECK CASE...: the program as it is shipped, over libusb,
# with the device core of src/adapter in a model below the kernel's interface (usb_bench), or behind
# a real kernel (usb_bench_vhci, in the guest of guest.sh). Every fall of RDATA that the model sent is
# in the capture, to the tick, or the capture says "not recorded" there.
#
# The models live in real time: on a computer that is too busy the host is too slow, as it would be with
# a real adapter. So a case has three tries, and says what went wrong in each.
set -eu
bench=$1 whichend=$2 flux_check=$3
shift 3
case $bench in
  *_vhci) below= ;;
  *) below=umockdev-wrapper ;;
esac
slow=${SLOW:-1} # so many times as slowly goes the model's time
one=core:ONE,slow=$slow two=core:TWO,slow=$slow
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"
bad=0

complain() {
  echo "$name: $*"
  sed 's/^/  | /' said
  bad=1
}

# beside DEVICE... -- COMMAND...: what it says goes to said, its status to status.
beside() {
  status=0
  $below "$bench" "$@" >said 2>&1 || status=$?
}

# record WORD...: a command line for beside.
inline="$whichend record --disk-out --drive drive-35-hd --adapter usb"

ends_with() {
  [ "$status" = "$1" ] || complain "status $status, not $1"
}

says() {
  grep -q -e "$1" said || complain "does not say '$1'"
}

# whole FILE: all falls that the model says it sent, none but those, and no hole.
whole() {
  sent=$(sed -n 's/^usb_bench: .* sent \([0-9]*\) falls$/\1/p' said)
  found=$("$flux_check" "$1" 2>&1) || complain "$found"
  [ "${sent:-0}" -gt 0 ] && [ "$found" = "$sent falls, 0 holes" ] || complain "sent $sent falls, found $found"
  echo "$name: $sent falls sent, $found"
}

# sound FILE LEAST MOST: something is there, all of it right, and there are so many holes.
sound() {
  found=$("$flux_check" "$1" 2>&1) || complain "$found"
  [ "${found%% *}" != 0 ] || complain "$found"
  holes=${found##* falls, }
  holes=${holes% holes}
  [ "$holes" -ge "$2" ] && [ "$holes" -le "$3" ] || complain "$found, not $2 to $3"
  echo "$name: $found"
}

seconds() { # a row of flux at the real rate: no edge is lost
  beside $one -- $inline --seconds "$1" -o one.wec
  ends_with 0
  says "nothing lost"
  whole one.wec
}

case_three_seconds() { seconds 3; }
case_ten_seconds() { seconds 10; }

case_full_speed() {
  beside $one,full-speed -- $inline --seconds 2 -o one.wec
  ends_with 0
  whole one.wec
}

case_unplugged_in_mid_stream() { # the file is whole, the status 69, and the next run works
  beside $one,unplug=700000,replug=300 -- sh -c "
    $inline --seconds $((5 * slow)) -o one.wec; echo first \$?
    sleep 1
    $inline --seconds 1 -o two.wec; echo second \$?"
  says "one.wec is whole, 1\.[0-9]* s long"
  says "the stream: usb:ONE: reading the stream: the adapter was unplugged, or reset itself"
  says "first 69"
  says "second 0"
  sound one.wec 0 0
  whole two.wec
  "$whichend" measure one.wec 2>&1 | grep -q '^rotation  *300' || complain "cannot be measured"
}

case_unplugged_as_it_is_asked() { # at every request that a recording makes
  for request in 1 2 4 6 7 8; do
    rm -f one.wec
    beside $one,unplug-request=$request,replug=200 -- sh -c "
      $inline --role inline --seconds 1 -o one.wec; echo first \$?
      sleep 0.6
      $inline --seconds 1 --replace -o one.wec; echo second \$?"
    # 2, the status, is asked only where something was refused
    says "first $([ $request = 2 ] && echo 0 || echo 69)"
    says "second 0"
  done
}

case_killed_and_run_again() { # what a dead program left in the adapter is not taken for the new stream
  beside $one -- sh -c "
    $inline --seconds 60 -o one.wec & until [ -e one.wec ]; do sleep 0.1; done
    sleep $((slow + 1)); kill -9 \$!; wait \$!; echo first \$?
    sleep 1 # the testbed has to see that its client died
    $inline --seconds 1 -o two.wec; echo second \$?"
  says "first 137"
  says "second 0"
  sound one.wec 0 0
  whole two.wec
}

case_host_stands_still() { # two seconds: what no buffer holds is told with its place
  beside $one -- sh -c "
    $inline --seconds 5 -o one.wec & until [ -e one.wec ]; do sleep 0.1; done
    sleep 1; kill -STOP \$!; sleep 2; kill -CONT \$!; wait \$!"
  ends_with 0
  says "lost  *from [0-9.]* s to [0-9.]* s, [0-9]* events: the host was too slow"
  sound one.wec 1 2
}

case_interrupted() {
  beside $one -- sh -c "
    $inline --seconds 60 -o one.wec & until [ -e one.wec ]; do sleep 0.1; done
    sleep 1; kill -INT \$!; wait \$!"
  ends_with 130
  says "one.wec is whole"
  whole one.wec
}

case_troubles_on_the_wire() { # each costs no more than its place
  # a halt and a babble lose nothing here: the model keeps what it could not hand over
  for fault in stall=300000 babble=300000 repeat=300000 error=300000 flip=300000; do
    rm -f one.wec
    beside $one,$fault -- $inline --seconds 2 -o one.wec
    ends_with 0
    case $fault in
      error* | flip*) sound one.wec 1 2 ;;
      *) sound one.wec 0 0 ;;
    esac
  done
}

case_a_stream_that_falls_silent() {
  beside $one,silence=300000 -- $inline --seconds 10 -o one.wec
  ends_with 69
  says "the adapter has sent nothing new for 3000 ms"
  sound one.wec 0 0
}

case_lies() { # each is refused, and leaves no file
  for lie in major short tick zero; do
    beside $one,lie=$lie -- $inline --seconds 1 -o one.wec
    ends_with 69
    [ ! -e one.wec ] || complain "with lie=$lie a file is left behind"
  done
  says "usb:ONE: the adapter's capabilities"
  beside $one,lie=major -- $inline --seconds 1 -o one.wec
  says "usb:ONE: the adapter speaks version 2.0 of the protocol, this program 1"
  beside $one,lie=magic -- $inline --seconds 1 -o one.wec
  says "answers something else"
  beside $one,lie=length -- $inline --seconds 1 -o one.wec # a later one that has more to say
  ends_with 0
}

case_no_answer() {
  beside $one,mute=4 -- $inline --seconds 1 -o one.wec
  ends_with 69
  says "the role: usb:ONE: control request: no answer in time"
}

case_two_adapters() {
  beside $one $two -- $inline --seconds 1 -o one.wec
  ends_with 69
  says "2 adapters are plugged in: usb:ONE, usb:TWO; choose one with --adapter usb:SERIAL"
  beside $one $two -- $inline:TWO --seconds 1 -o one.wec
  ends_with 0
  says "sent 0 falls"
}

case_as_a_machine() { # select, motor, restore, seek, read: the watchdog never bites
  beside $one -- "$whichend" record --disk-out --drive drive-35-hd --adapter usb --role as-machine \
    --cylinders 2-3 --sides 0 --turns 1 -o one.wec
  ends_with 0
  says "tracks  *2, 1 turns each"
  says "nothing lost"
}

case_a_person_who_thinks() { # three times the watchdog's time
  if ! command -v script >/dev/null; then
    echo "$name: skipped: no program script (Debian package bsdutils)"
    return
  fi
  printf '%s\n' "$whichend record --drive drive-35-hd --adapter usb --role as-machine --cylinders 0" \
    >command
  { sleep 0.5; echo yes; sleep 4; echo yes; sleep 4; } |
    $below "$bench" $one -- \
      script -qec "$(cat command) --sides 0 --turns 1 -o one.wec" /dev/null >said 2>&1 || complain "status $?"
  says "lever closed"
  says "tracks  *1, 1 turns each"
}

case_as_a_drive() { # a computer that is busy elsewhere may leave gaps; then it says so
  beside $one -- sh -c "
    $inline --seconds 2 -o disk.wec &&
    '$whichend' record --adapter sim:none --disk-out --role as-machine --cylinders 0 --turns 1 -o disk.wec \
      --replace &&
    '$whichend' record --adapter usb --disk-out --role as-drive --play disk.wec --seconds 2 -o one.wec"
  ends_with 0
  says "played  *1 tracks of 1"
  "$whichend" measure one.wec 2>&1 | grep -q 'code: MFM' || complain "what was played is not read"
}

# ---- only in a real kernel, with udev ----

case_held_by_another_program() {
  beside $one -- sh -c "
    $inline --seconds 60 -o one.wec & until [ -e one.wec ]; do sleep 0.1; done
    $inline --seconds 1 -o two.wec; echo second \$?
    kill -INT \$!; wait \$!; echo first \$?"
  says "usb:ONE: another program holds the adapter; end that one first"
  says "second 69"
  says "first 130"
  whole one.wec
}

case_permission() { # the rule that is installed lets members of plugdev in, and nobody else
  chmod 755 .
  rm -rf free
  mkdir -m 777 free
  beside $one -- sh -c "
    udevadm settle
    su -s /bin/sh -c '$inline --seconds 1 -o free/one.wec' stranger; echo stranger \$?
    su -s /bin/sh -c '$inline --seconds 1 -o free/two.wec' member; echo member \$?"
  says "no permission for /dev/bus/usb/001/[0-9]*: copy the rule .*/70-whichend.rules"
  says "stranger 69"
  says "member 0"
  whole free/two.wec
}

for name; do
  for try in 1 2 3; do
    rm -f ./*.wec
    : >said
    bad=0
    case_$name
    [ $bad = 1 ] || break
    echo "$name: try $try failed"
  done
  [ $bad = 0 ] || exit 1
done

#!/bin/sh
# asked.sh WHICHEND: at a terminal archive asks, one by one, for what must be so before a valued disk goes in, and
# reads a scratch disk twice itself. Needs script (Debian package bsdutils), which makes the terminal.
set -u
whichend=${1:?the program}
command -v script >/dev/null 2>&1 || { echo "skipped: script is not installed (bsdutils)"; exit 77; }
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
trap 'exit 143' INT TERM
cd "$work" || exit 1
bad=0

# An answer a line, each given once the question stands there.
talk() { # FAULT ANSWER...
  fault=$1
  shift
  mkfifo answers
  exec 3<>answers # stays open: the end of input would end the terminal
  for answer; do
    sleep 1
    echo "$answer"
  done >answers &
  talker=$!
  TERM=dumb script -qec "$whichend archive --adapter sim:$fault --cylinders 0-1 -o out" /dev/null <answers >said
  status=$?
  wait $talker
  exec 3>&-
  rm -f answers
}

expect() { # TEXT
  tr -d '\r' <said | grep -q "$1" || {
    echo "it does not say: $1"
    bad=1
  }
}

talk bench.disk.protected yes yes yes yes yes yes yes
[ $status = 0 ] || { echo "status $status"; bad=1; }
expect "No disk in any drive?"
expect "Heads looked at, cleaned"
expect "A recorded scratch disk in"
expect "Take it out, put it in again"
expect "no ring"
expect "no mould"
expect "Saved whole: 36 of 36"
grep -q '"checked": "WGATE quiet, WPROT protected, scratch disk read twice alike"' out/disk.json || {
  echo "the record does not say what was checked"
  bad=1
}
[ $bad = 0 ] || cat said
exit $bad

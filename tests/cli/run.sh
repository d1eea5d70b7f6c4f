#!/bin/sh
# run.sh WHICHEND CASE...: black-box cases of the command line. CASE.sh runs in an empty folder with
# $WHICHEND, $DATA (this folder's data) and $SHARED (outside data, may be absent); its standard
# output, standard error and exit status are held against CASE.stdout, CASE.stderr and CASE.exit. A
# missing file stands for nothing, and for 0. A case that exits 77 is skipped. UPDATE=1 writes the
# files anew: read the difference before it is committed.
set -u
whichend=$1
shift
here=$(cd "$(dirname "$0")" && pwd)
case $whichend in
  /*) ;;
  *) whichend=$(pwd)/$whichend ;;
esac
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
bad=0 skipped=0

# hold CASE KIND: the file written by the run against the one kept; nothing for a missing one.
hold() {
  kept=$here/$1.$2
  [ -f "$kept" ] || kept=/dev/null
  diff -u "$kept" "$work/$2" >"$work/diff" && return
  echo "$1: $2 is not as kept"
  cat "$work/diff"
  bad=1
}

# keep CASE KIND NOTHING: write the kept file, none where it says NOTHING.
keep() {
  if [ "$(cat "$work/$2")" = "$3" ]; then
    rm -f "$here/$1.$2"
  else
    cp "$work/$2" "$here/$1.$2"
  fi
}

for name; do
  rm -rf "$work/run"
  mkdir "$work/run"
  (
    cd "$work/run" || exit 70
    WHICHEND=$whichend DATA=$here/data SHARED=$here/../../../shared
    export WHICHEND DATA SHARED
    LC_ALL=C TERM=dumb sh -u "$here/$name.sh"
  ) >"$work/stdout" 2>"$work/stderr" </dev/null
  status=$?
  if [ $status -eq 77 ]; then
    echo "$name: skipped: $(cat "$work/stdout" "$work/stderr")"
    skipped=1
    continue
  fi
  echo $status >"$work/exit"
  if [ "${UPDATE:-0}" = 1 ]; then
    keep "$name" exit 0
    keep "$name" stdout ""
    keep "$name" stderr ""
    continue
  fi
  hold "$name" stdout
  hold "$name" stderr
  if [ -f "$here/$name.exit" ]; then
    hold "$name" exit
  elif [ $status -ne 0 ]; then
    echo "$name: exit status $status, 0 expected"
    bad=1
  fi
done
[ $bad -eq 0 ] || exit 1
[ $skipped -eq 0 ] || exit 77

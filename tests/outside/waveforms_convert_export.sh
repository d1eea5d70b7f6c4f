#!/bin/sh
# waveforms_convert_export.sh WHICHEND: what `whichend export` writes goes through the converters of a general
# waveform viewer (Debian package gtkwave: vcd2fst, fst2vcd) and back with the same edges.
set -eu
whichend=${1:?the program}
if ! command -v vcd2fst >/dev/null 2>&1 || ! command -v fst2vcd >/dev/null 2>&1; then
  echo "skipped: vcd2fst and fst2vcd are not installed"
  exit 77
fi
. "$(dirname "$0")/export_sample.sh"

if ! vcd2fst "$work/out.vcd" "$work/out.fst" >"$work/log" 2>&1 ||
  ! fst2vcd -f "$work/out.fst" -o "$work/back.vcd" >>"$work/log" 2>&1; then
  cat "$work/log"
  echo "the converters did not read the export"
  exit 1
fi
same_edges "$work/back.vcd" "vcd2fst and fst2vcd"

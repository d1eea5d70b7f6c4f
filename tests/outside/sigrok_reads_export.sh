#!/bin/sh
# sigrok_reads_export.sh WHICHEND: what `whichend export` writes, read by sigrok-cli (Debian package sigrok-cli,
# 0.7.2 here), has the same edges.
set -eu
whichend=${1:?the program}
if ! command -v sigrok-cli >/dev/null 2>&1; then
  echo "skipped: sigrok-cli is not installed"
  exit 77
fi
. "$(dirname "$0")/export_sample.sh"

sigrok-cli -i "$work/out.vcd" -I vcd -O vcd >"$work/sigrok.vcd" 2>"$work/log" || {
  cat "$work/log"
  echo "sigrok-cli did not read the export"
  exit 1
}
sed -i '/^META/d' "$work/sigrok.vcd"
same_edges "$work/sigrok.vcd" "$(sigrok-cli --version | sed -n 1p)"

# Damaged, repeated and missing frames: every hole has its place, and the rest is sound.
for fault in adapter.frames.damaged adapter.frames.repeated adapter.stalled; do
  echo "== $fault"
  "$WHICHEND" record --adapter sim:$fault --disk-out --seconds 1 -o $fault.wec | grep -v 1.0225 | head -5
  "$WHICHEND" measure $fault.wec | grep '^rotation'
done
for fault in adapter.lies adapter.other-version; do
  "$WHICHEND" record --adapter sim:$fault --disk-out --seconds 1 -o $fault.wec
  echo "status $?"
  [ ! -e $fault.wec ] || echo "a file is left behind"
done

# Damaged, repeated and missing frames: every hole has its place, and the rest is sound.
for fault in adapter.frames.damaged adapter.frames.repeated adapter.stalled; do
  echo "== $fault"
  "$WHICHEND" record --adapter sim:$fault --disk-out --seconds 1 -o $fault.wec | sed 's/\(\.[0-9][0-9]\)[0-9]*/\1/g; s/[0-9,]* edges,/N edges,/' | head -4
  "$WHICHEND" measure $fault.wec | sed -n 's/\.[0-9].*//; /^rotation/p'
done
for fault in adapter.lies adapter.other-version; do
  "$WHICHEND" record --adapter sim:$fault --disk-out --seconds 1 -o $fault.wec
  echo "status $?"
  [ ! -e $fault.wec ] || echo "a file is left behind"
done

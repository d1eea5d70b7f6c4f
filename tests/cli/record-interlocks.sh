# What the adapter refuses, or lets go of, is said; the status is 69 and the file as far as it goes is
# whole.
for fault in cable.TRK00.open drive.TRK00.stuck adapter.lead.STEP.short cable.SELECT0.short \
  adapter.output.SELECT0.dead adapter.output.STEP.dead; do
  echo "== $fault"
  "$WHICHEND" record --adapter sim:$fault --disk-out --role as-machine --cylinders 0-5 --turns 1 \
    -o "$fault.wec" >said 2>&1
  echo "status $?"
  sed "s/, [0-9.]* s long/, N s long/" said
done

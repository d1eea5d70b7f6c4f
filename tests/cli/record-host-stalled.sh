# The host stands still for two seconds: what the buffers do not hold is lost with its place, every line
# is not recorded meanwhile, and no turn is measured across the hole.
"$WHICHEND" record --adapter sim:host.stalled --disk-out --seconds 5 -o one.wec >said || exit
sed 's/\(\.[0-9]\)[0-9]*/\1/g; s/[0-9,]* edges,/N edges,/; s/[0-9]* events/N events/' said
"$WHICHEND" record --adapter sim:host.stalled --disk-out --seconds 5 --json -o two.wec >said || exit
"$WHICHEND" export one.wec -o one.vcd || exit
# In units of the VCD, 10 ps.
from=$(awk '/"from_s"/ {printf "%.0f", $2 * 1e11}' said)
to=$(awk '/"to_s"/ {printf "%.0f", $2 * 1e11}' said)
awk -v from="$from" -v to="$to" '
  /^#/ {t = substr($0, 2) + 0}
  /^x/ && t > 0 {unknown++; if (t < from - 100 || t > from + 100) elsewhere++}
  /^[01x]/ && t > from + 100 && t < to - 100 {between++}
  END {printf "lines not recorded from there on %d, elsewhere %d, edges in the hole %d\n",
    unknown, elsewhere, between}' one.vcd
echo "turns that are longer than 0.201 s:"
"$WHICHEND" measure --json one.wec | sed -n '/"period_ns"/,/\]/p' | tr -d ' ,' |
  awk '/^[0-9]/ && $1 > 201000000 {n++} /^[0-9]/ {all++} END {print n + 0, "of", all}'

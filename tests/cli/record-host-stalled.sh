# The host stands still for two seconds: what the buffers do not hold is lost with its place, every line
# is not recorded meanwhile, and no turn is measured across the hole.
"$WHICHEND" record --adapter sim:host.stalled --disk-out --seconds 5 -o one.wec || exit
"$WHICHEND" record --adapter sim:host.stalled --disk-out --seconds 5 --json -o two.wec |
  sed -n '/"lost"/,$p' || exit
"$WHICHEND" export one.wec -o one.vcd || exit
echo "lines that become unknown, and when (10 ps):"
awk '/^#/ {t = $0} /^x/ && t != "#0" {n[t]++} END {for (t in n) print t, n[t]}' one.vcd
echo "edges between:"
awk '/^#/ {t = substr($0, 2) + 0} /^[01x]/ && t > 147630622917 && t < 302259999999 {n++} END {print n + 0}' one.vcd
echo "turns that are longer than 0.201 s:"
"$WHICHEND" measure --json one.wec | sed -n '/"period_ns"/,/\]/p' | tr -d ' ,' |
  awk '/^[0-9]/ && $1 > 201000000 {n++} /^[0-9]/ {all++} END {print n + 0, "of", all}'

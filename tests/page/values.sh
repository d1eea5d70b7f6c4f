#!/bin/sh
# values.sh WHICHEND JSON_GET: what is drawn is what was measured. Values are read back from the paths of a
# page and held against `measure --json`, and against counts that awk makes of the exported capture.
set -eu
whichend=$1 json_get=$2
top=$(cd "$(dirname "$0")/../.." && pwd)
case=$top/flux-samples/heron-sound # the page of this sample has every plot but rails
command -v xmllint >/dev/null || { echo "skipped: needs xmllint (libxml2-utils)"; exit 77; }
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
page=$work/page.html
bad=0
complain() {
  echo "$*"
  bad=1
}
# plot ID PATH: of the plot with this id, the value at the XPath behind it
plot() {
  xmllint --nonet --xpath "string(//*[@id='$1']//*$2)" "$page"
}

"$whichend" report "$case" -o "$page" >/dev/null
"$whichend" measure --json "$case/drive-end.wec" --drive-profile drive-35-dd >"$work/measured"

# c2 is the second capture, drive-end. A turn a point: "M58.0 24.31L81.7 102.20...", in ms.
"$json_get" "$work/measured" rotation.period_ns | tr -d '[] \n' | tr ',' '\n' >"$work/periods"
echo >>"$work/periods"
[ "$(plot c2-turns "[@class='one']/@data-group")" = 1 ] || complain "turns are grouped"
{
  plot c2-turns "[@data-y]/@data-y"
  plot c2-turns "[@class='one']/@d" | tr 'ML' '\n\n' | grep .
} | awk -v periods="$work/periods" '
  NR == 1 { min = $1; max = $2; from = $3; to = $4; next }
  { getline due <periods; n++
    ms = min + ($2 - from) / (to - from) * (max - min)
    off = ms - due / 1e6
    if (off < 0) off = -off
    if (off > (max - min) / 10000) { print "turn " n ": drawn " ms " ms, measured " due / 1e6; bad = 1 } }
  END { if (n < 20) { print n " turns drawn"; bad = 1 }
    if ((getline due <periods) > 0 && due != "") { print "not every turn is drawn"; bad = 1 }
    exit bad }' || bad=1

# places: jitter by side, in the order of measure; side 0 sits left of its cylinder
count=0
for side in 0 1; do
  # M x yaR...: the left edge of a dot; M x-r y-rh...: the corner of a square
  plot c2-jitter "[@data-side='$side']/@d" | tr 'M' '\n' | grep . |
    sed 's/[ah]/ & /' | awk -v side=$side '{ print side, $1 + 3.2, side == 0 ? $2 : $2 + 3.2 }'
done >"$work/dots"
yaxis=$(plot c2-jitter "[@data-y]/@data-y")
i=0
while side=$("$json_get" "$work/measured" "places.$i.side" 2>/dev/null); do
  jitter=$("$json_get" "$work/measured" "places.$i.jitter_ns")
  [ "$jitter" = null ] || { echo "$side $jitter" >>"$work/due"; count=$((count + 1)); }
  i=$((i + 1))
done
[ "$count" -gt 2 ] || complain "only $count places"
sort -s -n -k1,1 "$work/due" | awk -v dots="$work/dots" -v axis="$yaxis" '
  BEGIN { split(axis, a, " ") }
  { if ((getline line <dots) <= 0) { print "place " NR " is not drawn"; exit 1 }
    split(line, d, " ")
    ns = a[1] + (d[3] - a[3]) / (a[4] - a[3]) * (a[2] - a[1])
    off = ns - $2
    if (off < 0) off = -off
    if (d[1] != $1 || off > (a[2] - a[1]) / 1000) {
      print "place " NR ": drawn " ns " ns, measured " $2; exit 1 } }' || bad=1

# sectors: a box each, by state
for state in good repaired damaged absent; do
  boxes=$(for side in 0 1; do
    plot c2-sectors "[@data-side='$side']/*[@data-state='$state']/@d"
  done | tr -cd 'M' | wc -c | tr -d ' ')
  i=0 due=0
  while "$json_get" "$work/measured" "tracks.$i.cylinder" >/dev/null 2>&1; do
    here=$("$json_get" "$work/measured" "tracks.$i.sectors" | grep -o '"id": "good", "data": "[a-z]*"' |
      grep -c "\"data\": \"$state\"" || true)
    due=$((due + here))
    i=$((i + 1))
  done
  [ "$boxes" = "$due" ] || complain "$state: $boxes boxes, $due sectors"
  [ $state != good ] || [ "$boxes" -gt 0 ] || complain "no good sector"
done

# intervals: falls of RDATA while WGATE is inactive, counted by awk in the exported CSV
"$whichend" export "$case/drive-end.wec" -o "$work/drive.csv"
plot c2-intervals "[@class='bars']/@d" | sed 's/z/\n/g' | tr -d 'M' >"$work/bars"
awk -F, -v bars="$work/bars" -v width="$(plot c2-intervals "[@data-bar-ns]/@data-bar-ns")" \
  -v ax="$(plot c2-intervals "[@data-x]/@data-x")" -v ay="$(plot c2-intervals "[@data-y]/@data-y")" '
  NR == 1 { for (i = 1; i <= NF; i++) { if ($i == "RDATA") r = i; if ($i == "WGATE") w = i }; next }
  { if ($w == 0 || $r !~ /[01]/) last = ""
    else if ($r == 0 && was == 1) {
      if (last != "") { n[int(($1 - last) * 1e9 / width + 0.5)]++; all++ }
      last = $1 }
    was = $r }
  END {
    split(ax, x, " "); split(ay, y, " ")
    while ((getline line <bars) > 0) {
      if (line == "") continue
      gsub(/[VH]/, " ", line); split(line, b, " ") # left, bottom, top, right, bottom
      middle = (b[1] + b[4]) / 2
      us = x[1] + (middle - x[3]) / (x[4] - x[3]) * (x[2] - x[1])
      bar = int(us * 1000 / width + 0.5)
      drawn = exp(log(10) * (y[1] + (b[3] - y[3]) / (y[4] - y[3]) * (y[2] - y[1])))
      sum += drawn
      off = drawn - n[bar]
      if (off < 0) off = -off
      if (off > 0.5 && off > n[bar] / 500) { print us " us: drawn " drawn ", counted " n[bar] + 0; bad = 1 }
    }
    off = sum - all
    if (all < 1000 || off > all / 500 || -off > all / 500) { print "drawn " sum " of " all; bad = 1 }
    exit bad }' "$work/drive.csv" || bad=1

# rails: an invented supply that sags to 4.1 V at 0.777 s of 2 s
mkdir "$work/rails"
awk 'BEGIN { print "time,INDEX,V5"
  for (i = 0; i < 2000; i++) printf "%.3f,%d,%.2f\n", i / 1000, (i % 200 > 3), (i == 777 ? 4.1 : i % 2 ? 5.02 : 4.98) }' \
  >"$work/rails/rails.csv"
printf '[case]\ntitle = rails\ndrive = drive-35-dd\n[capture one]\nfile = rails.csv\nrole = inline\ntap = drive-end\n' \
  >"$work/rails/case.ini"
page=$work/rails/report.html
"$whichend" report "$work/rails" >/dev/null
{
  plot c1-rail-v5 "[@data-x]/@data-x"
  plot c1-rail-v5 "[@data-y]/@data-y"
  plot c1-rail-v5 "[@class='bars']/@d" | sed 's/z/\n/g' | tr 'MHV' '   '
} | awk '
  NR == 1 { split($0, x, " "); next }
  NR == 2 { split($0, y, " "); next }
  NF >= 4 { # left, top, right, bottom; each bar reaches half a unit further both ways
    low = y[1] + ($4 - 0.5 - y[3]) / (y[4] - y[3]) * (y[2] - y[1])
    high = y[1] + ($2 + 0.5 - y[3]) / (y[4] - y[3]) * (y[2] - y[1])
    from = x[1] + ($1 - x[3]) / (x[4] - x[3]) * (x[2] - x[1])
    to = x[1] + ($3 - x[3]) / (x[4] - x[3]) * (x[2] - x[1])
    if (lowest == "" || low < lowest) { lowest = low; left = from; right = to }
    if (high > highest) highest = high
    if (to > end) end = to }
  END { print "drawn: " lowest " to " highest " V, lowest from " left " to " right " s, until " end " s"
    exit !(lowest > 4.09 && lowest < 4.11 && highest > 5.01 && highest < 5.03 &&
      left <= 0.778 && right >= 0.776 && right - left < 0.02 && end > 1.99 && end < 2.02) }' >"$work/drawn" ||
  complain "rails: $(cat "$work/drawn")"
exit $bad

#!/bin/sh
# hostile.sh WHICHEND JSON_GET: what a case holds stays text on its page, however much there is of it.
set -eu
whichend=$1 json_get=$2
top=$(cd "$(dirname "$0")/../.." && pwd)
sample=$top/flux-samples/heron-index-conductor
command -v xmllint >/dev/null || { echo "skipped: needs xmllint (libxml2-utils)"; exit 77; }
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
bad=0
complain() {
  echo "$*"
  bad=1
}
case_head() {
  printf '[case]\ntitle = %s\nmachine = controller-wd177x\ndrive = drive-35-dd\n' "$1"
}
capture() {
  printf '[capture %s]\nfile = %s\nrole = inline\ntap = machine-end\nasked = read\noutcome = hangs\n' "$1" "$2"
}

# marks of the language in every place that takes a text
mkdir "$work/marks"
mark='<script>alert(1)</script>"'"'"'><img src=x onerror=alert(2)>]]>&#60;b&amp;<!--'
odd='a&b<i>"q"'"'"'.gz'
cp "$sample/machine-end.vcd.gz" "$work/marks/$odd"
{
  case_head "$mark"
  capture '<b>"x"&amp;' "$odd"
  printf 'error = %s\nrun = <u>\n' "$mark"
  printf '[repair <s>]\ndone = %s\n' "$mark"
} >"$work/marks/case.ini"
"$whichend" report "$work/marks" >/dev/null || complain "marks: no page"
page=$work/marks/report.html
xmllint --noout --nonet "$page" || complain "marks: not well-formed"
[ "$(xmllint --nonet --xpath "count(//*[local-name()='script' or local-name()='img' or local-name()='b' or
  local-name()='u' or local-name()='s' or local-name()='i'])" "$page")" = 0 ] || complain "marks: a text became an element"
[ "$(xmllint --nonet --xpath "count(//comment()) + count(//@onerror)" "$page")" = 0 ] || complain "marks: a comment or a handler"
[ "$(xmllint --nonet --xpath "string(//*[local-name()='h1'])" "$page")" = "$mark" ] || complain "marks: the title is not what it was"
xmllint --nonet --xpath "//*[local-name()='td']" "$page" | grep -qF 'a&amp;b&lt;i&gt;' || complain "marks: the file's name is missing"

# names of variables in a capture reach the page through warnings at most
mkdir "$work/names"
printf 'time,INDEX,<script>x</script>\n0,1,0\n0.1,0,1\n0.2,1,1\n' >"$work/names/c.csv"
{
  case_head names
  capture one c.csv
} >"$work/names/case.ini"
"$whichend" report "$work/names" >/dev/null || complain "names: no page"
xmllint --noout --nonet "$work/names/report.html" || complain "names: not well-formed"
! grep -q '<script' "$work/names/report.html" || complain "names: a script"

# bytes that are no text: the case reader turns them away, and there is no page
for bytes in '\377\376' '\001' '\033[31m' '\303'; do
  mkdir "$work/bytes"
  case_head "$(printf "a${bytes}b")" >"$work/bytes/case.ini"
  status=0
  "$whichend" report "$work/bytes" >"$work/out" 2>/dev/null || status=$?
  [ $status = 65 ] && [ ! -s "$work/out" ] && [ ! -e "$work/bytes/report.html" ] ||
    complain "bytes '$bytes': status $status"
  rm -r "$work/bytes"
done

# very much of everything: the page has an end, and says what it left out
mkdir "$work/much"
cp "$sample/machine-end.vcd.gz" "$work/much/m.vcd.gz"
long=$(printf '%0900d' 0 | tr 0 '<')
{
  case_head "$long"
  i=0
  while [ $i -lt 15 ]; do
    capture "c$i" m.vcd.gz
    printf 'error = %s\n' "$long"
    i=$((i + 1))
  done
  while [ $i -lt 400 ]; do
    printf '[repair r%d]\ndone = %s\n' $i "$long"
    i=$((i + 1))
  done
} >"$work/much/case.ini"
"$whichend" report --json "$work/much" >"$work/said" || complain "much: no page"
page=$work/much/report.html
xmllint --noout --nonet --huge "$page" || complain "much: not well-formed"
[ "$("$json_get" "$work/said" captures drawn | tr '\n' ' ')" = "15 12 " ] || complain "much: not 12 of 15 drawn"
grep -q '3 more captures' "$page" || complain "much: does not say how many are not drawn"
size=$(wc -c <"$page")
[ "$size" -lt 3000000 ] || complain "much: $size bytes"
exit $bad

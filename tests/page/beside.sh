#!/bin/sh
# beside.sh WHICHEND JSON_GET: acceptance sheets and an archive's map beside a case on its page.
set -eu
whichend=$1 json_get=$2
top=$(cd "$(dirname "$0")/../.." && pwd)
case=$top/flux-samples/heron-sound
command -v xmllint >/dev/null || { echo "skipped: needs xmllint (libxml2-utils)"; exit 77; }
command -v tidy >/dev/null || { echo "skipped: needs tidy"; exit 77; }
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"
bad=0
complain() {
  echo "$*"
  bad=1
}
# refused STATUS OPTION...: the call ends so, says nothing on standard output and leaves no page
refused() {
  due=$1 status=0
  shift
  "$whichend" report "$case" -o none.html "$@" >out 2>err || status=$?
  [ $status = "$due" ] && [ ! -s out ] && [ ! -e none.html ] || complain "$*: status $status, not $due; $(cat err)"
}

# two sheets of one drive profile, from a sound and from a slow bench (flux-samples, simulated)
"$whichend" accept --drive drive-35-dd --serial '<script>"7"</script>' "$case/drive-end.wec" -o before.json >/dev/null || [ $? -lt 64 ]
"$whichend" accept --drive drive-35-dd "$top/flux-samples/heron-upper-head/drive-end.wec" -o after.json >/dev/null || [ $? -lt 64 ]
"$whichend" archive "$case/drive-end.wec" -o disk >/dev/null || [ $? -lt 64 ]
"$whichend" report "$case" -o one.html --sheet before.json >/dev/null
"$whichend" report "$case" -o two.html --sheet before.json --sheet after.json --archive disk >/dev/null
for page in one.html two.html; do
  xmllint --noout --nonet $page || complain "$page: not well-formed"
  tidy -quiet -errors $page || complain "$page: tidy finds fault"
  ! grep -q '<script' $page || complain "$page: a serial number became a script"
  grep -qF 'serial &lt;script&gt;&quot;7&quot;' $page || complain "$page: the serial number is missing"
done

# every line of a sheet that was measured stands there with the state it has
i=0 lines=0
while state=$("$json_get" before.json "lines.$i.state" 2>/dev/null); do
  title=$("$json_get" before.json "lines.$i.title")
  case $state in pass) word=pass ;; fail) word=FAIL ;; reading) word='a reading' ;; not-measured) word='not measured' ;; esac
  got=$(xmllint --nonet --xpath "string(//*[local-name()='tr'][*[local-name()='th']='$title']/*[2])" one.html)
  case $got in "$word"*) lines=$((lines + 1)) ;; *) complain "$title: '$got', not $word" ;; esac
  i=$((i + 1))
done
[ $lines -gt 10 ] || complain "only $lines lines"
# and as changed between the two, as accept --compare says
"$whichend" accept --compare --json before.json after.json >compared || [ $? -lt 64 ]
for change in moved appeared lost mended broke same; do
  due=$(grep -c "\"change\": \"$change\"" compared || true)
  got=$(xmllint --nonet --xpath "count(//*[local-name()='td'][starts-with(., '$change')])" two.html)
  absent=0 # lines that neither drive has are left out
  neither=0 # and those that neither sheet has are named in one sentence
  if [ $change = same ]; then
    absent=$(grep -c '"after": "absent"' compared || true)
    neither=$(($(xmllint --nonet --xpath "string(//*[@id='neither'])" two.html | tr -cd ';' | wc -c) + 1))
  fi
  [ "$got" = $((due - absent - neither)) ] || complain "$change: $got on the page, $due in the comparison, $absent absent, $neither in neither"
done

# the map of the archive: a box a sector, by state
for state in repaired damaged absent; do
  boxes=$(xmllint --nonet --xpath "concat(//*[@id='d1-sectors']//*[@data-side='0']/*[@data-state='$state']/@d,
    //*[@id='d1-sectors']//*[@data-side='1']/*[@data-state='$state']/@d)" two.html | tr -cd 'M' | wc -c | tr -d ' ')
  [ "$boxes" = "$("$json_get" disk/disk.json "totals.$state")" ] || complain "$state: $boxes boxes"
done
good=$(xmllint --nonet --xpath "concat(//*[@id='d1-sectors']//*[@data-side='0']/*[@data-state='good']/@d,
  //*[@id='d1-sectors']//*[@data-side='1']/*[@data-state='good']/@d,
  //*[@id='d1-sectors']//*[@data-side='0']/*[@data-state='good once']/@d,
  //*[@id='d1-sectors']//*[@data-side='1']/*[@data-state='good once']/@d)" two.html | tr -cd 'M' | wc -c | tr -d ' ')
[ "$good" = "$("$json_get" disk/disk.json totals.good)" ] || complain "good: $good boxes"

# a volume on it: an invented one, with a name that means harm
mkdir fat
volume='{"format": "FAT12", "label": "SPRING", "tables_agree": false, "files": [
  {"path": "LETTERS", "folder": true, "bytes": null, "entry_good": true, "repaired": 0, "damaged": 0, "absent": 0, "problem": null},
  {"path": "LETTERS\/<b>.TXT", "folder": false, "bytes": 12345, "entry_good": true, "repaired": 1, "damaged": 2, "absent": 3, "problem": null},
  {"path": "SOUND.TXT", "folder": false, "bytes": 7, "entry_good": true, "repaired": 0, "damaged": 0, "absent": 0, "problem": null}]}'
sed "s|\"volume\": null|\"volume\": $(echo "$volume" | tr '\n' ' ')|" disk/disk.json >fat/disk.json
"$whichend" report "$case" -o fat.html --archive fat >/dev/null
xmllint --noout --nonet fat.html || complain "fat.html: not well-formed"
grep -qF 'A FAT12 volume called SPRING with 3 files and folders; 1 of them touch what is not good. Its tables do not agree.' fat.html ||
  complain "the volume is not told"
[ "$(xmllint --nonet --xpath "string(//*[local-name()='tr'][*[1]='LETTERS/<b>.TXT'])" fat.html)" = \
  "$(printf 'LETTERS/<b>.TXT\n12,345\n123\n')" ] || complain "the file is not as it was told"
! grep -q SOUND.TXT fat.html || complain "a sound file is listed among those that are not"

# what is no sheet and no archive
refused 64 --sheet before.json --sheet after.json --sheet before.json
refused 66 --sheet absent.json
refused 66 --archive absent
refused 65 --sheet disk/disk.json
mkdir cut other turned
head -c 3000 disk/disk.json >cut/disk.json
refused 65 --archive cut
cp before.json other/disk.json
refused 65 --archive other
sed 's/"state": "absent"/"state": "perfect"/' disk/disk.json >turned/disk.json
refused 65 --archive turned
sed 's/"sector": [0-9]*,/"sector": 1,/' disk/disk.json >turned/disk.json # not in order any more
refused 65 --archive turned
exit $bad

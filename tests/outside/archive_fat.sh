#!/bin/sh
# archive_fat.sh WHICHEND JSON_GET: a volume made by mkfs.fat and filled by mcopy (Debian packages dosfstools and
# mtools), turned into flux by the simulator, archived, and read back by mcopy with the same files. The same with some
# tracks damaged: every sector that is called good is the one that was written.
set -eu
whichend=${1:?the program} json_get=${2:?json_get}
PATH=$PATH:/usr/sbin:/sbin
for tool in mkfs.fat mcopy mdir; do
  command -v "$tool" >/dev/null 2>&1 || { echo "skipped: $tool is not installed (dosfstools, mtools)"; exit 77; }
done
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
trap 'exit 143' INT TERM
cd "$work"
MTOOLS_SKIP_CHECK=1 && export MTOOLS_SKIP_CHECK

fail() {
  echo "$*"
  exit 1
}

# Files of many sizes, the same on every run, two of them in a folder.
mkfs.fat -C -F 12 -n LETTERS -i 20310301 --invariant fat.img 720 >/dev/null
mkdir in back
for n in 1 2 3 4 5 6; do
  awk -v n=$n 'BEGIN { for (i = 0; i < n * 700; i++) printf "%d %d line of file %d\n", i, (i * 7919 + n) % 10007, n }' \
    >"in/FILE$n.TXT"
done
mcopy -i fat.img in/FILE1.TXT in/FILE2.TXT in/FILE3.TXT in/FILE4.TXT ::
mmd -i fat.img ::SPRING
mcopy -i fat.img in/FILE5.TXT in/FILE6.TXT ::SPRING

# take NAME OPTION...: the disk with fat.img on it, two turns of every track, as a capture and an archive.
take() {
  name=$1
  shift
  "$whichend" record --adapter sim:none --disk-out --role as-machine --turns 2 --image fat.img "$@" \
    -o "$name.wec" >/dev/null
  status=0
  "$whichend" archive "$name.wec" -o "$name" >"$name.txt" || status=$?
}

take sound
[ "$status" = 0 ] || fail "a sound disk: status $status" "$(cat sound.txt)"
cmp fat.img sound/disk.img || fail "the image is not what was on the disk"
mcopy -s -i sound/disk.img '::*' back
for n in 1 2 3 4; do cmp "in/FILE$n.TXT" "back/FILE$n.TXT"; done
for n in 5 6; do cmp "in/FILE$n.TXT" "back/SPRING/FILE$n.TXT"; done
[ "$("$json_get" sound/disk.json volume.tables_agree)" = true ] || fail "the tables are said to differ"
# whichend's listing names what mdir lists, with the same lengths
for n in 1 2 3 4; do
  bytes=$(wc -c <"in/FILE$n.TXT" | tr -d ' ')
  mdir -i fat.img "::FILE$n.TXT" | tr -d ' ' | grep -q "$bytes" || fail "mdir shows another length"
  tr -d ',' <sound.txt | grep -q "  $bytes .*  FILE$n.TXT\$" || fail "FILE$n.TXT is not listed with $bytes bytes"
done

take worn --worn 5 --seed 3
[ "$status" = 4 ] || fail "a damaged disk: status $status" "$(cat worn.txt)"
# every sector by its state, as "OFFSET SIZE STATE"
awk -F'[:,]' '/"offset"/ { o = $2 } /"size"/ { s = $2 } /"state"/ { gsub(/[ "]/, "", $2); print o + 0, s + 0, $2 }' \
  worn/disk.json >states
[ "$(wc -l <states)" = 1440 ] || fail "$(wc -l <states) sectors are listed, not 1440"
bad=$(grep -vc ' good$' states)
[ "$bad" -gt 10 ] || fail "$bad sectors alone are not good: nothing was damaged"
# the bytes that differ, by place; none may lie in a good sector
cmp -l fat.img worn/disk.img >bytes || true
awk 'NR == FNR { state[$1 / 512] = $3; next }
     { at = int(($1 - 1) / 512); if (state[at] == "good") wrong[at] = 1; differ[at] = 1 }
     END { for (at in wrong) n++; for (at in differ) d++; print n + 0, d + 0; exit n > 0 }' states bytes >count ||
  fail "sectors called good that are not: $(cat count)"
read -r wrong differ <count
echo "sound: 1440 sectors as written, 6 files the same; damaged: $bad of 1440 not good, $differ differ," \
  "$wrong called good and wrong"
# a file that touches none of them reads back the same
grep '  FILE[0-9]*.TXT$\|SPRING/FILE[0-9]*.TXT$' worn.txt >whole || true
while read -r line; do
  path=${line##* }
  mcopy -n -o -i worn/disk.img "::$path" one.txt
  cmp "in/${path##*/}" one.txt || fail "$path is said to touch good sectors only, and differs"
done <whole
echo "files that are said to be whole, and are: $(wc -l <whole)"

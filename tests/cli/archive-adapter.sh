awk 'BEGIN { for (i = 0; i < 15000; i++) printf "line %d of what is to be saved, %d\n", i, (i * 7919) % 10007 }' |
  head -c 46080 >truth
all="--affirm heads-cleaned --affirm scratch-alike --affirm no-ring --affirm disk-looked-at"
take() { "$WHICHEND" archive --disk-out --image truth --cylinders 0-4 "$@"; }

echo "== nobody has looked at drive and disk"
take --adapter sim:bench.disk.protected --affirm no-ring -o out
echo "status $?"
echo "== the disk is not protected"
take --adapter sim:none $all -o out
echo "status $?"
ls out
echo "== as it should be"
take --adapter sim:bench.disk.protected $all -o out | sed -n '1,6p'
cmp truth out/disk.img && echo "as on the disk"
ls out
grep -o '"affirmed": .*\|"checked": .*\|"risk": .*' out/disk.json
echo "== what it recorded itself counts once"
"$WHICHEND" archive out/disk.wec -o out --resume | grep holds
echo "== its recording gives the same image"
"$WHICHEND" archive out/disk.wec -o other >/dev/null
cmp out/disk.img other/disk.img && echo same
echo "== at a risk"
take --adapter sim:none --accept-risk "a copy of a copy" -o risk >/dev/null
grep -o '"affirmed": .*\|"checked": .*\|"risk": .*' risk/disk.json
echo "== captures and an adapter"
take --adapter sim:none $all out/disk.wec -o out
echo "status $?"

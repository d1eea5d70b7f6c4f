# No room for what is written: status 74, no half files, and what was there stays.
"$WHICHEND" record --adapter sim:none --disk-out --role as-machine --cylinders 0-1 --turns 2 -o a.wec >/dev/null
"$WHICHEND" archive a.wec -o out >/dev/null
cp out/disk.img kept.img
cp out/disk.json kept.json
(
  trap '' XFSZ
  ulimit -f 40
  "$WHICHEND" archive a.wec -o out --replace
  echo "status $?"
  "$WHICHEND" archive a.wec -o new 2>/dev/null
  echo "status $?"
)
ls out new
cmp kept.img out/disk.img && cmp kept.json out/disk.json && echo "as it was"
# a folder that cannot be made
"$WHICHEND" archive a.wec -o a.wec/below
echo "status $?"

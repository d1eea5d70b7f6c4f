"$WHICHEND" record --adapter sim:none --disk-out --role as-machine --cylinders 0-2 --turns 2 -o a.wec >/dev/null
"$WHICHEND" archive a.wec a.wec -o out
ls out
wc -c <out/disk.img
cp out/disk.img kept.img
"$WHICHEND" archive --json a.wec -o out 2>&1
echo "status $?"
"$WHICHEND" archive a.wec -o out --replace >/dev/null
echo "status $?"
cmp kept.img out/disk.img && echo same

# Two passes with other damage give the union, at once or one by one; a pass that is there already counts once.
take() { "$WHICHEND" record --adapter sim:none --disk-out --role as-machine --cylinders 24-27 --turns 2 --worn 60 "$@" >/dev/null; }
# places of the good sectors, and the passes that the others came from
good() { awk -F'[:,]' '/"offset"/ { o = $2 } /"state": "good"/ { print o + 0 }' "$1/disk.json" | sort; }
head -c 737280 /dev/zero | tr '\0' 'w' >truth.img
take --image truth.img --seed 1 -o a.wec
take --image truth.img --seed 4 -o b.wec
"$WHICHEND" archive a.wec -o one >/dev/null
"$WHICHEND" archive b.wec -o two >/dev/null
"$WHICHEND" archive a.wec b.wec -o both >/dev/null
good one >a
good two >b
good both >both.good
sort -u a b >union
cmp union both.good && echo "both together: what either has"
[ "$(wc -l <a)" -lt "$(wc -l <union)" ] && [ "$(wc -l <b)" -lt "$(wc -l <union)" ] && echo "more than each alone"
grep -c '"pass": 2,' both/disk.json | awk '{ print ($1 > 10 ? "with" : "without"), "its record" }'
"$WHICHEND" archive a.wec -o later >/dev/null
"$WHICHEND" archive b.wec -o later --resume >/dev/null
good later | cmp - union && echo "the same one by one"
"$WHICHEND" archive b.wec -o later --resume | grep passed
"$WHICHEND" archive b.wec -o later
ls later

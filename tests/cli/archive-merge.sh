# Two passes with other damage give the union, at once or one by one; a pass that is there already counts once.
take() { "$WHICHEND" record --adapter sim:none --disk-out --role as-machine --cylinders 24-27 --turns 2 --worn 60 "$@" >/dev/null; }
head -c 737280 /dev/zero | tr '\0' 'w' >truth.img
take --image truth.img --seed 1 -o a.wec
take --image truth.img --seed 4 -o b.wec
"$WHICHEND" archive a.wec -o one | sed -n 1p
"$WHICHEND" archive b.wec -o two | sed -n 1p
"$WHICHEND" archive a.wec b.wec -o both | sed -n '1p;/^from/,/^$/p'
"$WHICHEND" archive a.wec -o later >/dev/null
"$WHICHEND" archive b.wec -o later --resume | sed -n 1p
"$WHICHEND" archive b.wec -o later --resume | grep passed
"$WHICHEND" archive b.wec -o later
ls later

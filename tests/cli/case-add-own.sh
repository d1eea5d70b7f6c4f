# role and tap come from the recording where nobody says them; said otherwise, judge warns
"$WHICHEND" record --quiet --disk-out --adapter sim:drive.head.dead --drive drive-35-hd \
  --role as-machine --cylinders 0-0 --turns 1 -o alone.wec >/dev/null || exit
"$WHICHEND" case new bench --title t --drive drive-35-hd --machine controller-82077 \
  --cable ribbon-34-straight --disk known-good || exit
"$WHICHEND" case add bench alone.wec || exit
cat bench/case.ini
"$WHICHEND" judge bench | sed -n 1,2p
"$WHICHEND" case note bench 'capture alone.tap=drive-end' || exit
"$WHICHEND" judge bench | grep 'the recording itself'

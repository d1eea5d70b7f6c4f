# What the check of a cable said is weighed: one tap alone cannot tell cable from drive.
first() { "$WHICHEND" judge bench | sed -n '1s/ (.*//p'; }
"$WHICHEND" rehearse --fault cable.INDEX.open --taps machine-end --seed 3 -o bench >/dev/null
first
"$WHICHEND" selfcheck --role both-plugs --disk-out --adapter sim:cable.INDEX.open --case bench >/dev/null
first
"$WHICHEND" selfcheck --role both-plugs --disk-out --adapter sim:none --case bench >/dev/null
first

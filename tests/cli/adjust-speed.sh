"$WHICHEND" adjust --disk-out --adapter sim:bench.trimmer.turned --turns 20
echo "exit status $?"
"$WHICHEND" adjust speed --disk-out --adapter sim:bench.trimmer.turned --turns 50 --json
echo "exit status $?"
"$WHICHEND" adjust --disk-out --adapter sim:drive.index.dead --seconds 5
echo "exit status $?"

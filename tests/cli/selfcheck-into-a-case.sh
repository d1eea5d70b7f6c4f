"$WHICHEND" case new heron --title "Heron 2 hangs"
"$WHICHEND" selfcheck --disk-out --adapter sim:none --case heron >/dev/null
cat heron/case.ini
"$WHICHEND" selfcheck --disk-out --adapter sim:adapter.input.INDEX.dead --case heron >/dev/null
cat heron/case.ini
"$WHICHEND" selfcheck --role both-plugs --disk-out --adapter sim:cable.INDEX.open,cable.DIR+STEP.swapped --case heron >/dev/null
cat heron/case.ini
"$WHICHEND" selfcheck --role both-plugs --disk-out --adapter sim:none --case heron >/dev/null
sed -n '/selfcheck/,$p' heron/case.ini
"$WHICHEND" selfcheck --disk-out --adapter sim:none --case crane

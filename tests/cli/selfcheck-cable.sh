"$WHICHEND" selfcheck --role both-plugs --disk-out --adapter sim:cable.INDEX.open
echo "exit status $?"
"$WHICHEND" selfcheck --role both-plugs --disk-out --cable ribbon-34-twisted --adapter sim:cable.twist.missing,cable.RDATA.short
echo "exit status $?"

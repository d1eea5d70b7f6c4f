"$WHICHEND" selfcheck --disk-out --adapter sim:none
echo "exit status $?"
"$WHICHEND" selfcheck --disk-out --adapter sim:adapter.lead.DIR+STEP.swapped,power.supply.sags --json
echo "exit status $?"

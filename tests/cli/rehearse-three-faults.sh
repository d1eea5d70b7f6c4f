"$WHICHEND" rehearse --fault cable.INDEX.open --fault cable.STEP.open --fault cable.DIR.open -o bench

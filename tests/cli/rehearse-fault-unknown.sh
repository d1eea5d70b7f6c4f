"$WHICHEND" rehearse --fault cable.INDEX.bent -o bench

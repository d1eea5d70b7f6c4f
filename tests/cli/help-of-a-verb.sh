"$WHICHEND" rehearse --help

"$WHICHEND" help

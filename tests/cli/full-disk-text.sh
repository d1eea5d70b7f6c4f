"$WHICHEND" help >/dev/full

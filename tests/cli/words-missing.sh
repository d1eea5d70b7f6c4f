"$WHICHEND" judge --json

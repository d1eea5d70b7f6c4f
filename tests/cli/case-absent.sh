"$WHICHEND" judge nowhere

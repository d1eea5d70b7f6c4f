"$WHICHEND" judge one two

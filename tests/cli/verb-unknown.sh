"$WHICHEND" weigh

"$WHICHEND" adjust --cylinders 1

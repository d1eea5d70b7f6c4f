"$WHICHEND" measure index.vcd --drive-profile

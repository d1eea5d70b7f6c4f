"$WHICHEND" measure absent.vcd

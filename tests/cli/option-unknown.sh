"$WHICHEND" measure --colour index.vcd

: >empty.vcd
"$WHICHEND" measure empty.vcd

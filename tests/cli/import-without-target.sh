cp "$DATA/index.vcd" .
"$WHICHEND" import index.vcd

cp "$DATA/index.vcd" .
"$WHICHEND" measure index.vcd --line INDEX

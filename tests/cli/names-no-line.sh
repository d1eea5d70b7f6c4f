cp "$DATA/names-no-line.vcd" .
"$WHICHEND" measure names-no-line.vcd

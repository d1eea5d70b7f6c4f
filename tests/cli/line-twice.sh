cp "$DATA/twice.vcd" .
"$WHICHEND" measure twice.vcd

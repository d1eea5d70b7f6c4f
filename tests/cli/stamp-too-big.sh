cp "$DATA/stamp-too-big.vcd" .
"$WHICHEND" measure stamp-too-big.vcd

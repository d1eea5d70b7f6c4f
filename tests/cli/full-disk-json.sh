cp "$DATA/index.vcd" .
"$WHICHEND" measure --json index.vcd >/dev/full

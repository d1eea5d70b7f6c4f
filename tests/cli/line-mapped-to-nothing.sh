cp "$DATA/twice.vcd" .
"$WHICHEND" measure twice.vcd --line INDEX=elsewhere.INDEX

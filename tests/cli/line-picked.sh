cp "$DATA/twice.vcd" .
"$WHICHEND" measure twice.vcd --line INDEX=upper.INDEX

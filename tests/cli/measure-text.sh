cp "$DATA/index.vcd" .
"$WHICHEND" measure index.vcd --drive-profile drive-35-dd

cp "$DATA/index.vcd" .
"$WHICHEND" export index.vcd -o index.pdf

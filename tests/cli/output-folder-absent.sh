cp "$DATA/index.vcd" .
"$WHICHEND" import index.vcd -o nowhere/one.wec

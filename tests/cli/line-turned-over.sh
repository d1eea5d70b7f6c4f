# INDEX itself may be mapped again, with the other polarity.
cp "$DATA/index.vcd" .
"$WHICHEND" measure index.vcd --line INDEX=INDEX:high

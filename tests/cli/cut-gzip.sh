gzip -nc "$DATA/index.vcd" | head -c 60 >cut.vcd.gz
"$WHICHEND" measure cut.vcd.gz

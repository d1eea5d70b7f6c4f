cp "$DATA/index.vcd" .
"$WHICHEND" import index.vcd --line DSKCHG=probe7:high --tap drive-end -o one.wec || exit
"$WHICHEND" export one.wec -o two.csv.gz || exit
"$WHICHEND" export one.wec -o three.vcd || exit
gzip -dc two.csv.gz
for capture in one.wec two.csv.gz three.vcd; do
  "$WHICHEND" measure --json $capture | grep -A 4 -E '"(pulses|rpm)"'
done

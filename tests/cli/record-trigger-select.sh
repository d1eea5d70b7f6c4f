# The file begins as a drive is selected: at its tick 0 the select falls.
"$WHICHEND" record --adapter sim:none --disk-out --seconds 1 --trigger select -o one.wec >said || exit
sed '2s/.*edges/N edges/' said
"$WHICHEND" export one.wec -o one.vcd || exit
"$WHICHEND" measure one.wec | sed -n 's/.*\(SELECT0 *toggles\).*/\1/p'
sed -n '/^#0/,/^#[1-9]/p' one.vcd | grep '^0' | head -3

# The file begins as a drive is selected: at its tick 0 the select falls.
"$WHICHEND" record --adapter sim:none --disk-out --seconds 1 --trigger select -o one.wec || exit
"$WHICHEND" export one.wec -o one.vcd || exit
"$WHICHEND" measure one.wec | grep SELECT0
sed -n '/^#0/,/^#[1-9]/p' one.vcd | grep '^0' | head -3

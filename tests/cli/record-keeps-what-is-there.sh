# What exists is left alone, and nothing is asked of the adapter first.
echo mine >one.wec
"$WHICHEND" record --adapter sim:none --disk-out --seconds 1 -o one.wec
echo "status $?"
cat one.wec
"$WHICHEND" record --adapter sim:none --disk-out --seconds 1 -o absent/one.wec
echo "status $?"
"$WHICHEND" record --adapter sim:none --disk-out --seconds 1 --replace -o one.wec >/dev/null
echo "status $?"

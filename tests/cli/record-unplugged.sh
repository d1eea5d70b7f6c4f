# Gone in mid-stream: the file is whole, and the next run works.
"$WHICHEND" record --adapter sim:adapter.unplugged --disk-out --seconds 5 -o one.wec
echo "status $?"
"$WHICHEND" measure one.wec | grep -e 'edges, tick' -e 'cut short'
"$WHICHEND" record --adapter sim:none --disk-out --seconds 1 -o two.wec

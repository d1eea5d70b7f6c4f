# Gone in mid-stream: the file is whole, and the next run works.
"$WHICHEND" record --adapter sim:adapter.unplugged --disk-out --seconds 5 -o one.wec 2>said
echo "status $?"
sed 's/1\.0[0-9]* s long/1.0 s long/' said
"$WHICHEND" measure one.wec | sed -n 's/\.0[0-9]* s, [0-9,]* edges.*/.0 s/p; /cut short/p'
"$WHICHEND" record --adapter sim:none --disk-out --seconds 1 -o two.wec >said
echo "status $?"

# Nothing but an index: no sector, no image, and the map says so.
printf 'time,INDEX\n0,1\n0.1,0\n0.102,1\n0.3,0\n0.302,1\n' >a.csv
"$WHICHEND" archive a.csv -o out
echo "status $?"
ls out

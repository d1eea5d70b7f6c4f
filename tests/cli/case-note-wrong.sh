"$WHICHEND" case new bench --title t || exit
"$WHICHEND" case note bench lamp=blinks
status=$?
cat bench/case.ini
exit $status

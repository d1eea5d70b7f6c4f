"$WHICHEND" case new bench --title first || exit
"$WHICHEND" case new bench --title second
status=$?
cat bench/case.ini
exit $status

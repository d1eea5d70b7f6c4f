"$WHICHEND" case new bench --title t || exit
echo "a letter" >letter.txt
"$WHICHEND" case add bench letter.txt
status=$?
cat bench/case.ini
ls bench
exit $status

"$WHICHEND" case new bench --title "invented: nothing reads" --drive drive-35-dd || exit 1
printf '1\n\n.\n' | "$WHICHEND" case ask bench 2>asked
grep -c '>' asked
wc -l <bench/case.ini

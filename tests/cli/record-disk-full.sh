# A file that may not grow: 74, and what was written is readable. One that may not begin: nothing is left.
( ulimit -f 200; exec "$WHICHEND" record --adapter sim:none --disk-out --seconds 5 -o one.wec )
echo "status $?"
"$WHICHEND" measure one.wec 2>&1 | grep -c '^rotation'
{ ( ulimit -f 0; exec "$WHICHEND" record --adapter sim:none --disk-out --seconds 5 -o two.wec 2>&1 )
  echo "status $?"; } | cat
ls

# Stopped by the person: status 130, and the file can be used.
# wait_for FILE: until some seconds of the capture are in it.
wait_for() {
  for i in 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20; do
    [ ! -e "$1" ] || [ "$(wc -c <"$1")" -lt 400000 ] || return
    sleep 0.5
  done
}
"$WHICHEND" record --adapter sim:none --disk-out --seconds 3600 -o one.wec 2>said &
wait_for one.wec
kill -INT $!
wait $!
echo "status $?"
sed 's/, [0-9.]* s long/, N s long/' said
"$WHICHEND" measure one.wec | grep -c '^rotation'
"$WHICHEND" measure one.wec | grep 'cut short'
# Killed outright it can be read up to its last chunk.
"$WHICHEND" record --adapter sim:none --disk-out --seconds 3600 -o two.wec &
wait_for two.wec
kill -KILL $!
wait $! 2>/dev/null
echo "status $?"
"$WHICHEND" measure two.wec 2>&1 | grep -e '^rotation' -e 'cut short' | cut -c 1-24

# Each is told in one line, with status 64, before an adapter is opened.
try() {
  "$WHICHEND" record --adapter sim:none "$@" && echo "accepted: $*"
  [ $? = 64 ] || echo "not 64: $*"
}
try -o one.wec --seconds 1
try --disk-out
try --disk-out -o one.wec --role loop
try --disk-out -o one.wec --role as-drive
try --disk-out -o one.wec --role as-machine --seconds 3
try --disk-out -o one.wec --role as-machine --tap drive-end
try --disk-out -o one.wec --turns 3
try --disk-out -o one.wec --trigger index
try --disk-out -o one.wec --seconds 0
try --disk-out -o one.wec --role as-machine --cylinders 5-3
try --disk-out -o one.wec --role as-machine --cylinders 80
try --disk-out -o one.wec --role as-machine --sides 2
try --disk-out -o one.wec --drive drive-3 --role as-machine --sides 1
try --disk-out -o one.wec --unit 4 --role as-machine
"$WHICHEND" record --adapter other --disk-out -o one.wec
[ $? = 64 ] || echo "not 64"
"$WHICHEND" record --adapter sim:no.such --disk-out -o one.wec
[ $? = 64 ] || echo "not 64"
ls

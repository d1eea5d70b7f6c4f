cp "$DATA/index.vcd" .
echo precious >one.wec
"$WHICHEND" import index.vcd -o one.wec
status=$?
cat one.wec
ls
exit $status

cp "$DATA/index.vcd" .
echo old >one.wec
"$WHICHEND" import index.vcd -o one.wec --replace && head -c 1 one.wec | grep -c o
ls

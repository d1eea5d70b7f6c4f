mkdir bench
cp "$DATA/index.vcd" .
ln -s ../index.vcd bench/inside.vcd
printf '[case]\ntitle = t\n[capture one]\nfile = inside.vcd\n' >bench/case.ini
"$WHICHEND" judge bench

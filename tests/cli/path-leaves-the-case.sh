mkdir bench
cp "$DATA/index.vcd" .
printf '[case]\ntitle = t\n[capture one]\nfile = ../index.vcd\n' >bench/case.ini
"$WHICHEND" judge bench

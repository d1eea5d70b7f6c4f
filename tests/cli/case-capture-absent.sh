mkdir bench
printf '[case]\ntitle = t\n[capture one]\nfile = gone.vcd\n' >bench/case.ini
"$WHICHEND" judge bench

mkdir bench
printf '[case]\ndisk = good\n' >bench/case.ini
"$WHICHEND" judge bench

mkdir bench
printf '[case]\ntitle = Drawer seven\n[observe]\n' >bench/case.ini
"$WHICHEND" judge bench/case.ini

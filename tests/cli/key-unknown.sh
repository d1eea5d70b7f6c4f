mkdir bench
printf '[case]\ntitle = Drawer seven\n\n[observed]\nlampe = never\n' >bench/case.ini
"$WHICHEND" judge bench

mkdir bench
printf '[case]\ntitle = t\n[lines one]\nRDATA = D3\n' >bench/case.ini
"$WHICHEND" case show bench

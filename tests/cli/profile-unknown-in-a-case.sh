mkdir bench
printf '[case]\ntitle = Drawer seven\n; belt drive\ndrive = drive-77\n' >bench/case.ini
"$WHICHEND" judge --json bench

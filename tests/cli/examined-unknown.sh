mkdir bench
printf '[case]\ntitle = Drawer seven\nmachine = controller-generic\ndrive = drive-35-dd\ncable = ribbon-34-straight\n\n[examined drive.lamp.dim]\nfound = yes\n' >bench/case.ini
"$WHICHEND" judge bench

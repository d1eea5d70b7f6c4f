mkdir bench
: >bench/case.ini
"$WHICHEND" judge bench

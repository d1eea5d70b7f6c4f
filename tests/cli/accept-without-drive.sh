"$WHICHEND" accept "$DATA/none.wec"

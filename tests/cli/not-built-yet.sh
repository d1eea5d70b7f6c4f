"$WHICHEND" archive capture.wec -o out

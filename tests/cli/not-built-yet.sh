"$WHICHEND" report CASE -o out.html

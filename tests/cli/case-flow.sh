cp "$DATA/twice.vcd" .
"$WHICHEND" case new bench --title "Drawer seven reads nothing" --drive drive-525-dd-40 || exit
printf '# lent to the neighbour\n' >>bench/case.ini
"$WHICHEND" case note bench lamp=never "swap lead.part=cable" "swap lead.outcome=failed" || exit
"$WHICHEND" case note bench lamp=on-access disk=known-good || exit
"$WHICHEND" case add bench twice.vcd --line INDEX=upper.INDEX --tap drive-end --asked read,seek \
  --outcome failed || exit
cat bench/case.ini
ls bench
"$WHICHEND" case show bench

# Cylinders 3 and 4, side 1 alone, two turns each; the capture says so by its own lines.
"$WHICHEND" record --adapter sim:none --disk-out --role as-machine --cylinders 3-4 --sides 1 --turns 2 \
  --json -o one.wec || exit
"$WHICHEND" measure one.wec | sed -n '/^rotation/p; /^tracks/,$p' | head -12
"$WHICHEND" record --adapter sim:none --disk-out --role as-machine --cylinders 0 --turns 1 -o two.wec

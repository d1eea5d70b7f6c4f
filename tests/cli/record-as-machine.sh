# Cylinders 3 and 4, side 1 alone, two turns each; the capture says so by its own lines.
"$WHICHEND" record --adapter sim:none --disk-out --role as-machine --cylinders 3-4 --sides 1 --turns 2 \
  --json -o one.wec >said || exit
sed 's/\("seconds": [0-9]\).*/\1,/; s/\("edges": \).*/\1N,/' said
"$WHICHEND" measure one.wec | sed -n 's/ +.- [0-9.]*,/,/; /^rotation/p; / of 9, /p' | head -3
"$WHICHEND" record --adapter sim:none --disk-out --role as-machine --cylinders 0 --turns 1 -o two.wec |
  sed '2s/.*edges/N edges/'

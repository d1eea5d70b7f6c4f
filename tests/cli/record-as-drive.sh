# A good drive's tracks are played to a machine, which steps from one to the next: what it is given is whole at every
# place, from index to index.
"$WHICHEND" record --disk-out --adapter sim:none --role as-machine --cylinders 10-14 --turns 2 -o good.wec |
  tail -n +3
"$WHICHEND" record --disk-out --adapter sim:none --role as-drive --play good.wec --asked read --seconds 6 -o given.wec |
  tail -n +3
"$WHICHEND" measure given.wec | sed -n '/^index/,/^flux/p; /^sectors good/,/^$/p'
"$WHICHEND" record --disk-out --adapter sim:none --role as-drive --seconds 1 -o none.wec

# Answers the simulated machine with a turn out of a capture of ours; the machine's reads of it are in
# the file.
"$WHICHEND" record --adapter sim:none --disk-out --role as-machine --cylinders 0 --turns 1 -o disk.wec \
  >/dev/null || exit
"$WHICHEND" record --adapter sim:none --disk-out --role as-drive --play disk.wec --seconds 3 -o answer.wec |
  sed '2s/.*edges/N edges/'
"$WHICHEND" measure answer.wec | sed -n 's/ +.- .*,/,/; /^rotation/p; s/.* transitions, code/code/p; s/.*WPROT *\([a-z]*\) .*/WPROT \1/p'

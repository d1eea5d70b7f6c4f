# Ctrl-C: 130, nothing on standard output, the figures so far on standard error.
for verb in "adjust --seconds 80000" "selfcheck --wiggle --role both-plugs"; do
  # shellcheck disable=SC2086 # a list of words
  timeout --foreground --preserve-status -s INT 1 "$WHICHEND" $verb --disk-out --adapter sim:none >out 2>err
  echo "exit status $?, $(wc -c <out) bytes"
  grep -c "^Speed: \|^Sound: \|interrupted" err
done

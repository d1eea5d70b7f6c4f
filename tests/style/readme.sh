#!/bin/sh
# readme.sh WHICHEND ROOT: what README.md shows of the program is what the program prints. In each
# ```console block the first line is "$ build/whichend ..."; the rest must be its output. UPDATE=1
# writes the blocks anew: read the difference before it is committed.
set -eu
whichend=$1
cd "$2"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

blocks=0 state=text
while IFS= read -r line; do
  case $state in
    text)
      printf '%s\n' "$line"
      [ "$line" != '```console' ] || state=command
      ;;
    command)
      printf '%s\n' "$line"
      words=${line#'$ build/whichend '}
      # shellcheck disable=SC2086 # the words of a command
      "$whichend" $words </dev/null 2>"$work/errors" || [ $? -lt 64 ] || cat "$work/errors"
      blocks=$((blocks + 1))
      state=output
      ;;
    output)
      [ "$line" != '```' ] || { printf '%s\n' "$line"; state=text; }
      ;;
  esac
  echo "$blocks" >"$work/blocks"
done <README.md >"$work/README.md"

[ "$(cat "$work/blocks")" -gt 0 ] || { echo "README.md shows no output"; exit 1; }
if [ "${UPDATE:-0}" = 1 ]; then
  cp "$work/README.md" README.md
else
  diff -u README.md "$work/README.md"
fi

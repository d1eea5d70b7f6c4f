#!/bin/sh
# readme.sh WHICHEND ROOT: what README.md shows of the program is what the program prints. In a ```console
# block each line "$ ..." is a command, goes on behind a "\", and is followed by what it prints. Those that
# begin with build/ run here; all others in one folder, one after the other, with whichend on the path.
# UPDATE=1 writes the blocks anew: read the difference before it is committed.
set -eu
whichend=$1
cd "$2"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
mkdir "$work/bench"

# what a command prints; what it complains of, too, where it could not do its work
run() {
  case $1 in
    build/whichend*) set -- "\"$whichend\"${1#build/whichend}" . ;;
    *) set -- "PATH='$(dirname "$whichend")':\$PATH; $1" "$work/bench" ;;
  esac
  (cd "$2" && sh -c "$1" </dev/null 2>"$work/errors") || [ $? -lt 64 ] || cat "$work/errors"
}

blocks=0 state=text command=
while IFS= read -r line; do
  case $state in
    text)
      printf '%s\n' "$line"
      [ "$line" != '```console' ] || { blocks=$((blocks + 1)) state=block; }
      ;;
    block)
      case $command$line in
        '$ '*'\')
          printf '%s\n' "$line"
          command="$command${line%?}"
          ;;
        '$ '*)
          printf '%s\n' "$line"
          command=$command$line
          run "${command#'$ '}"
          command=
          ;;
        '```')
          printf '%s\n' "$line"
          state=text
          ;;
      esac
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

#!/bin/sh
# length.sh [ROOT]: a file has one subject (500 lines at most), a function of src/ fits a screen
# (60 lines at most between its braces).
set -eu
root=${1:-$(cd "$(dirname "$0")/../.." && pwd)}
cd "$root"
find src tests \( -name '*.[ch]' -o -name '*.sh' \) | sort | {
  bad=0 found=0
  while read -r file; do
    found=$((found + 1))
    lines=$(wc -l <"$file")
    [ "$lines" -le 500 ] || { echo "$file: $lines lines, 500 at most"; bad=1; }
    case $file in
      src/*.c)
        awk -v file="$file" '
          /^\{/ { start = NR }
          /^\}/ && start { if (NR - start - 1 > 60) {
                             print file ":" start ": function of " NR - start - 1 " lines, 60 at most"; bad = 1 }
                           start = 0 }
          END { exit bad }' "$file" || bad=1
        ;;
    esac
  done
  [ "$found" -gt 0 ] || { echo "no file found"; bad=1; }
  exit $bad
}

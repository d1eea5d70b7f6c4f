#!/bin/sh
# format.sh [ROOT]: every C file as clang-format would write it. Skips (77) where clang-format is
# missing or of another make than the one .clang-format was written for: versions differ.
set -eu
root=${1:-$(cd "$(dirname "$0")/../.." && pwd)}
cd "$root"
if ! command -v clang-format >/dev/null 2>&1; then
  echo "skipped: clang-format is not installed"
  exit 77
fi
case $(clang-format --version) in
  *"version 14."*) ;;
  *) echo "skipped: this clang-format is not version 14"; exit 77 ;;
esac
files=$(find src tests -name '*.[ch]' | sort)
[ -n "$files" ] || { echo "no file found"; exit 1; }
bad=0
for file in $files; do
  clang-format --style=file "$file" | cmp -s - "$file" || {
    echo "$file: run clang-format -i on it"
    bad=1
  }
done
exit $bad

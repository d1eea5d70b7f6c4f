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
[ -n "$(find src tests -name '*.[ch]' | head -n 1)" ] || { echo "no file found"; exit 1; }
# many files a run: most of its time goes into starting
if ! find src tests -name '*.[ch]' -print0 | sort -z |
  xargs -0 -n 100 clang-format --style=file --dry-run --Werror; then
  echo "run clang-format -i on these files"
  exit 1
fi

#!/bin/sh
# headers.sh [ROOT]: every header compiles alone, and twice over. CC names the compiler.
set -eu
root=${1:-$(cd "$(dirname "$0")/../.." && pwd)}
cd "$root/src"
bad=0 found=0
for header in */*.h; do
  [ -f "$header" ] || continue
  found=$((found + 1))
  printf '#include "%s"\n#include "%s"\nextern int whichend_here;\n' "$header" "$header" |
    "${CC:-cc}" -std=c11 -D_GNU_SOURCE -Wall -Wextra -Werror -fsyntax-only -I. -x c - || {
    echo "src/$header: does not compile alone"
    bad=1
  }
done
[ "$found" -gt 0 ] || { echo "no header found"; bad=1; }
exit $bad

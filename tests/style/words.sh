#!/bin/sh
# words.sh [ROOT]: calls that are kept out, unfinished work, and paths of one machine.
set -eu
root=${1:-$(cd "$(dirname "$0")/../.." && pwd)}
cd "$root"
bad=0

# refuse WHY PATTERN FILE...: a pattern that must not be found.
refuse() {
  why=$1 pattern=$2
  shift 2
  if grep -nE "$pattern" "$@" /dev/null; then
    echo "^ $why"
    bad=1
  fi
}

code=$(find src tests -name '*.[ch]')
library=$(find src -name '*.[ch]' ! -path 'src/cli/*')
text=$(find . -type f ! -path './.git/*' ! -path './build*/*' ! -path './tests/style/*' \
  \( -name '*.[ch]' -o -name '*.sh' -o -name '*.md' -o -name '*.ini' -o -name '*.json' \
  -o -name '*.cmake' -o -name 'CMakeLists.txt' -o -path './.ci/run' \))
[ -n "$library" ] || { echo "no source found"; exit 1; }

# shellcheck disable=SC2086 # lists of files without spaces
{
  refuse "unbounded, stateful or unchecked: use what base offers" \
    '\b(strcpy|strcat|sprintf|vsprintf|strtok|atoi|atol|atof|gmtime|localtime|gets|rand|srand)[[:space:]]*\(' $code
  refuse "only src/cli prints, ends or talks to a shell" \
    '\b(printf|vprintf|puts|putchar|perror|exit|_exit|abort|system|popen)[[:space:]]*\(|\b(stdout|stderr)\b' $library
  refuse "unfinished work" '\b(TODO|FIXME|XXX)\b' $text
  refuse "a path of one machine" '(^|[^A-Za-z0-9_.])/(work|farm|root|home)/' $text
}
exit $bad

#!/bin/sh
# run_long.sh SECONDS [PARSER...]: libFuzzer under the sanitizers, so long for each parser (all of
# them when none is named). New inputs and findings stay in build-fuzz/; move an input that found
# something to corpus/PARSER/ under a name that says what it was, and it is replayed for good.
set -eu
seconds=${1:?seconds for each parser}
shift
top=$(cd "$(dirname "$0")/../.." && pwd)
. "$top/src/packages.sh"
log=$(mktemp)
trap 'rm -f "$log"' EXIT INT TERM
build fuzz "$top/build-fuzz"

[ $# -gt 0 ] || set -- $(cd "$top/tests/fuzz" && ls fuzz_*.c | sed 's/^fuzz_//; s/\.c$//')
passed=0 failed=0
for parser in "$@"; do
  grown="$top/build-fuzz/corpus/$parser"
  finds="$top/build-fuzz/finds/$parser"
  mkdir -p "$grown" "$finds"
  set -- -max_total_time="$seconds" -print_final_stats=1 -timeout=20 -rss_limit_mb=4096 \
    -max_len=65536 -artifact_prefix="$finds/"
  [ ! -f "$top/tests/fuzz/$parser.dict" ] || set -- "$@" -dict="$top/tests/fuzz/$parser.dict"
  if "$top/build-fuzz/tests/fuzz/fuzz_$parser" "$@" "$grown" "$top/tests/fuzz/corpus/$parser" \
    >"$log" 2>&1 </dev/null; then
    passed=$((passed + 1))
    runs=$(sed -n 's/^stat::number_of_executed_units: *//p' "$log")
    echo "fuzz_$parser: $seconds s, $runs inputs, no finding"
  else
    failed=$((failed + 1))
    echo "fuzz_$parser: finding, see $finds"
    tail -n 60 "$log"
  fi
done
echo "$passed passed, $failed failed"
[ "$failed" = 0 ]

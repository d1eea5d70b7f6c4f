#!/bin/sh
# From a bare Debian (root or sudo, git and a shell) to a verdict on a sample case:
#   sh src/try.sh
# Installs what is missing, builds into build/, judges the sample. Exits 0 when the verdict is
# the one that the sample is known to have.
set -eu
top=$(cd "$(dirname "$0")/.." && pwd)
. "$top/src/packages.sh"
sample=flux-samples/heron-index-conductor

mkdir -p "$top/build"
log="$top/build/try.log"

install_missing $BUILD_PACKAGES
build release "$top/build" -DWHICHEND_TESTS=OFF

# json_word KEY FILE: the first value of a key, of a document that our own program printed.
json_word() {
  tr ',{}' '\n\n\n' <"$2" | sed -n "s/^ *\"$1\" *: *\"\([a-z-]*\)\".*/\1/p" | head -n 1
}

cd "$top"
echo "\$ build/whichend judge $sample"
status=0
build/whichend judge "$sample" || status=$?
case $status in
  0 | 3 | 4) ;;
  *) die "the program failed with status $status" ;;
esac

build/whichend judge --json "$sample" >build/try.json 2>"$log" || true
for key in end grade; do
  expected=$(json_word "$key" "$sample/expected.json")
  got=$(json_word "$key" build/try.json)
  [ -n "$expected" ] || die "$sample/expected.json names no $key"
  [ "$got" = "$expected" ] || die "wrong verdict: $key is '$got', known to be '$expected'"
done
echo "The verdict is the expected one."

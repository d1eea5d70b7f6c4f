#!/bin/sh
# profiles.sh WHICHEND PROFILES: every profile passes its check; without a value's source, or with
# a key that nobody knows, it does not.
set -eu
whichend=$1 profiles=$2
copy=$(mktemp -d)
trap 'rm -rf "$copy"' EXIT
bad=0

"$whichend" profile check --profiles "$profiles" || bad=1

# refuses WHAT SED-SCRIPT: each kind's first profile, changed, must fail with status 65.
refuses() {
  for folder in drives controllers cables; do
    first=$(ls "$profiles/$folder"/*.ini | head -n 1)
    mkdir -p "$copy/$folder"
    changed=$copy/$folder/$(basename "$first")
    sed "$2" "$first" >"$changed"
    cmp -s "$first" "$changed" && { echo "$changed: nothing was changed"; bad=1; }
    status=0
    "$whichend" profile check "$changed" >"$copy/out" 2>&1 || status=$?
    [ $status = 65 ] || { echo "$changed: $1 passes (status $status)"; bad=1; }
  done
}
refuses "a value without a source" '/^source/d'
refuses "an unknown key" '$a\
shoe_size = 9'
exit $bad

#!/bin/sh
# pages.sh WHICHEND JSON_GET: the page of every sample is well-formed, says what judge says, comes out the
# same twice, and loads nothing. Well-formedness is held by xmllint (libxml2), HTML by tidy.
set -eu
whichend=$1 json_get=$2
top=$(cd "$(dirname "$0")/../.." && pwd)
command -v xmllint >/dev/null || { echo "skipped: needs xmllint (libxml2-utils)"; exit 77; }
command -v tidy >/dev/null || { echo "skipped: needs tidy"; exit 77; }
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
bad=0
complain() {
  echo "$1: $2"
  bad=1
}

count=0
for case in "$top"/flux-samples/*/; do
  name=$(basename "$case")
  page=$work/$name.html
  count=$((count + 1))
  "$whichend" report --json "$case" -o "$page" >"$work/said"
  [ "$("$json_get" "$work/said" schema)" = whichend.page/1 ] || complain "$name" "another schema"
  [ "$("$json_get" "$work/said" file)" = "$page" ] || complain "$name" "names another file"
  [ "$("$json_get" "$work/said" bytes)" = "$(wc -c <"$page" | tr -d ' ')" ] || complain "$name" "another size"
  "$whichend" judge --json "$case" >"$work/verdict" || [ $? -lt 64 ]
  [ "$("$json_get" "$work/said" verdict)" = "$("$json_get" "$work/verdict" verdict)" ] ||
    complain "$name" "another verdict than judge"
  xmllint --noout --nonet "$page" || complain "$name" "not well-formed"
  tidy -quiet -errors "$page" >"$work/tidy" 2>&1 || { cat "$work/tidy"; complain "$name" "tidy finds fault"; }
  if [ $count -le 3 ]; then
    "$whichend" report "$case" -o "$work/again.html" --replace >"$work/text"
    cmp "$page" "$work/again.html" || complain "$name" "another page from the same case"
  fi
  # nothing from outside: the one address on the page is the name of a language
  if sed 's,xmlns="http://www.w3.org/[0-9a-z/]*",,g' "$page" |
    grep -nEi '<script|<link|<img|<iframe|<object|https?:|src=|url\(|@import| on[a-z]+='; then
    complain "$name" "loads or runs something"
  fi
  # the sentence as judge gives it
  summary=$("$json_get" "$work/verdict" verdict.summary | sed "s/&/\\&amp;/g; s/'/\\&#39;/g")
  grep -qF "$summary" "$page" || complain "$name" "the sentence is missing"
  [ "$(wc -c <"$page")" -lt 200000 ] || complain "$name" "larger than such a case needs"
done
[ $count -gt 0 ] || complain "flux-samples" "no sample"
exit $bad

#!/bin/sh
# judge_sample.sh WHICHEND JSON_GET FOLDER: judges a sample and compares end and grade, and fault
# and line where they are written down, with its expected.json; then the exit status with the grade.
set -eu
whichend=$1 json_get=$2 sample=$3
got=$(mktemp)
trap 'rm -f "$got"' EXIT

status=0
"$whichend" judge --json "$sample" >"$got" || status=$?
"$json_get" "$got"
"$json_get" "$sample/expected.json"

bad=0
for key in end grade fault line; do
  if ! expected=$("$json_get" "$sample/expected.json" "$key" 2>&1); then
    case $key in
      end | grade) echo "$sample/expected.json names no $key"; bad=1 ;;
    esac
    continue
  fi
  value=$("$json_get" "$got" "verdict.$key")
  [ "$value" = "$expected" ] || { echo "$key is '$value', should be '$expected'"; bad=1; }
done

# Contract, "Verbs": 0 nothing at fault, 3 decided for an end, 4 leaning or undecided.
case $("$json_get" "$got" verdict.grade verdict.end | tr '\n' ' ') in
  "decided none ") due=0 ;;
  "decided "*) due=3 ;;
  *) due=4 ;;
esac
[ "$status" = "$due" ] || { echo "exit status $status, should be $due"; bad=1; }
exit $bad

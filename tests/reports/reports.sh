#!/bin/sh
# reports.sh WHICHEND JSON_GET [--table]: the judge on repair reports that strangers closed, and on some that
# nobody closed. Each folder here is one report, coded by README.md from what was observed alone; expected.csv
# holds the end that its writer found, the end first blamed (empty: not on record), and how sure the source is.
#
#   first    the judge's likeliest end is the one found
#   two      it is one of the likeliest two
#   wrong    decided for another end
#
# Where the observations hold the work that helped, the judge is asked what it proves, not to guess it: the
# totals count those reports apart.
#
# --table prints a line a report and the confusion of ends before the totals. Exit status 1: a case is refused,
# or a decided verdict is wrong where the source is not of low confidence itself.
set -eu
whichend=$1 json_get=$2 table=${3:-}
here=$(cd "$(dirname "$0")" && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
trap 'exit 143' INT TERM
tab=$(printf '\t')

# Every folder is expected, and every line of the table has its folder.
(cd "$here" && for folder in */; do echo "${folder%/}"; done) | sort >"$work/folders"
sed 1d "$here/expected.csv" | cut -d , -f 1 | sort >"$work/listed"
diff "$work/folders" "$work/listed" || { echo "folders and expected.csv differ"; exit 1; }

sed 1d "$here/expected.csv" | while IFS=, read -r id end blamed confidence; do
  status=0
  "$whichend" judge --quiet --json "$here/$id" >"$work/json" 2>"$work/log" || status=$?
  if [ "$status" -ge 64 ]; then
    sed 's/^/refused: /' "$work/log" >&2
    verdict="refused${tab}refused${tab}0${tab}-${tab}-"
  else
    verdict=$("$json_get" "$work/json" verdict.end verdict.grade ends.0.probability ends.0.end ends.1.end | paste -s -)
  fi
  cure=$(awk '/^\[/ { r = /^\[repair/ } r && /^outcome = (worked|partly)$/ { n = 1 } END { print n + 0 }' "$here/$id/case.ini")
  printf '%s\t%s\t%s\t%s\t%s\t%s\n' "$id" "$end" "${blamed:--}" "${confidence:--}" "$verdict" "$cure"
done >"$work/verdicts"

awk -F '\t' -v table="$table" '
  function line(word) {
    if (table != "--table") return
    printf "%-4s %-11s %-11s %5.3f  %-11s %-9s %s\n", $1, $2, $8, $7, $9, $6, word
  }
  BEGIN {
    if (table == "--table")
      printf "%-4s %-11s %-11s %5s  %-11s %-9s\n", "id", "found", "first", "p", "second", "grade"
  }
  $6 == "refused" { refused++; line("REFUSED"); next }
  $2 == "undecided" {
    open++; left += $6 == "undecided"; leaning += $6 == "leaning"
    line($6 == "undecided" ? "" : $6)
    next
  }
  {
    closed++; always += $2 == "drive"; first = $8 == $2; decided += $6 == "decided"; leans += $6 == "leaning"
    right += first; two += first || $9 == $2
    leans_right += $6 == "leaning" && $5 == $2
    confused[$2, $8]++
    cured += $10; cured_right += $10 && first
    word = first ? "right" : $9 == $2 ? "second" : "other"
    if ($6 == "decided" && $5 != $2) {
      wrong++; low += $4 == "low"
      word = $4 == "low" ? "WRONG (source of low confidence)" : "WRONG"
    }
    if ($3 != "-") { recorded++; blamed += $3 == $2; here += first }
    line(word)
  }
  END {
    n = split("drive cable controller disk power setup none two-ends unexplained", e, " ")
    if (table == "--table") {
      printf "\n%-11s", "found/first"
      for (j = 1; j <= n; j++) printf " %10.10s", e[j]
      print ""
      for (i = 1; i <= 7; i++) {
        printf "%-11s", e[i]
        for (j = 1; j <= n; j++) printf " %10d", confused[e[i], e[j]]
        print ""
      }
      print ""
    }
    printf "%d closed reports: first choice right %d, right end among the first two %d\n", closed, right, two
    printf "told of a work that helped %d: first choice right %d; told of none %d: right %d\n", cured, cured_right,
      closed - cured, right - cured_right
    printf "without a look, always the drive: right %d\n", always
    printf "decided %d, wrong when decided %d (%d of them where the source is of low confidence); leaning %d, rightly %d\n",
      decided, wrong, low, leans, leans_right
    printf "first suspect on record in %d: the person right %d, the judge %d (the whole collection: person 7 of 37)\n",
      recorded, blamed, here
    printf "%d unresolved reports: left undecided %d, leaning %d, decided %d\n", open, left, leaning, open - left - leaning
    if (refused) printf "refused: %d\n", refused
    exit (wrong - low + refused > 0)
  }' "$work/verdicts"

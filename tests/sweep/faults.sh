#!/bin/sh
# faults.sh WHICHEND JSON_GET [SEEDS [PATTERN]]: every fault that the simulator plays (those that match
# PATTERN), SEEDS times (3), seen at both taps and at each alone; the judge's answer to each, and a table:
#
#   right      decided for the end at fault
#   leaning    leaning to it
#   open       undecided; or decided that nothing which was exercised is at fault
#   astray     leaning to another end
#   accused    decided for another end: a wrong accusation, and the exit status is 1
#
# The table goes to standard output, one line a case with the verdict to sweep.tsv in the working folder.
# The simulator shares no model with the judge; all cases are invented.
set -eu

if [ "$1" = --one ]; then # --one WHICHEND JSON_GET FAULT TAPS SEED FOLDER
  whichend=$2 json_get=$3 fault=$4 taps=$5 seed=$6 folder=$7/$4-$5-$6
  # The first bench on which this fault can be.
  for bench in "controller-wd177x drive-35-dd ribbon-34-straight" \
    "controller-82077 drive-35-hd ribbon-34-twisted" \
    "controller-upd765 drive-525-dd-80 ribbon-34-straight" \
    "controller-wd179x drive-8 ribbon-50"; do
    # shellcheck disable=SC2086 # three words
    set -- $bench
    "$whichend" rehearse --fault "$fault" --seed "$seed" --taps "$taps" --asked read,write --flux-ms 60 \
      --machine "$1" --drive "$2" --cable "$3" -o "$folder" >"$folder.log" 2>&1 && break
  done
  if [ ! -f "$folder/case.ini" ]; then
    printf '%s\t%s\t%s\t-\t-\t-\t-\n' "$fault" "$taps" "$seed"
  else
    "$whichend" judge --quiet --json "$folder" >"$folder.json" 2>"$folder.log" || true
    # shellcheck disable=SC2046 # four words
    set -- $("$json_get" "$folder.json" verdict.end verdict.grade verdict.probability ends.0.end)
    printf '%s\t%s\t%s\t%s\t%s\t%s\t%s\n' "$fault" "$taps" "$seed" "${1:-failed}" "${2:-failed}" \
      "${3:-0}" "${4:-failed}"
  fi
  rm -rf "$folder" "$folder.log" "$folder.json"
  exit 0
fi

whichend=$1 json_get=$2 seeds=${3:-3} pattern=${4:-.}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
trap 'exit 143' INT TERM

for fault in $("$whichend" rehearse --list | grep -- "$pattern"); do
  for taps in both machine-end drive-end; do
    for seed in $(seq "$seeds"); do
      echo "$fault $taps $seed"
    done
  done
done >"$work/jobs"
xargs -P "$(nproc)" -L 1 sh -c 'sh "$1" --one "$2" "$3" "$5" "$6" "$7" "$4"' _ "$0" "$whichend" "$json_get" \
  "$work" <"$work/jobs" | sort >sweep.tsv

awk -F '\t' '
  $4 == "-" { cannot[$1] = 1; next }
  {
    split($1, part, "."); truth = part[1]; taps = $2
    if ($4 == "failed") kind = "failed"
    else if ($5 == "undecided") kind = "open"
    else if ($4 == truth) kind = $5 == "decided" ? "right" : "leaning"
    else if ($4 == "none") kind = "open"
    else kind = $5 == "decided" ? "accused" : "astray"
    n[truth, taps, kind]++; seen[truth] = 1; total[kind]++
    if (kind == "accused" || kind == "astray" || kind == "failed")
      print kind ": " $1 " at " taps ", seed " $3 ": " $5 " for " $4 ", " $6
  }
  END {
    print ""
    printf "%-12s %-12s %7s %8s %6s %7s %8s %7s\n", "end", "taps", "right", "leaning", "open", "astray", "accused", "failed"
    ends = split("drive cable controller disk power setup none", e, " ")
    taps_n = split("both machine-end drive-end", t, " ")
    for (i = 1; i <= ends; i++) if (e[i] in seen) for (j = 1; j <= taps_n; j++)
      printf "%-12s %-12s %7d %8d %6d %7d %8d %7d\n", e[i], t[j], n[e[i], t[j], "right"], n[e[i], t[j], "leaning"],
        n[e[i], t[j], "open"], n[e[i], t[j], "astray"], n[e[i], t[j], "accused"], n[e[i], t[j], "failed"]
    for (f in cannot) print "cannot be on any bench here: " f
    printf "wrong accusations: %d\n", total["accused"]
    exit total["accused"] + total["failed"] > 0
  }' sweep.tsv

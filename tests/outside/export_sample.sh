# shellcheck shell=sh disable=SC2154
# Sourced by a test that has set $whichend: makes a capture of which every edge is known without whichend, takes it through `import` and
# `export`, and offers a reader of plain VCD text that shares nothing with the project.
#
# $work/truth   "TICK LINE LEVEL" a line, in ticks of 100 ns
# $work/out.vcd the export

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
trap 'exit 143' INT TERM

# Read data, an index and a step line over 8 ms, from a generator with a fixed seed.
awk -v truth="$work/truth" '
  function noise() { seed = (seed * 1103515245 + 12345) % 2147483648; return int(seed / 65536) }
  function change(t, name, level) { at[t] = at[t] level code[name] "\n"; print t, name, level > truth }
  BEGIN {
    seed = 1; end = 80000
    code["INDEX"] = "!"; code["RDATA"] = "#"; code["STEP"] = "%"
    print "$timescale 100 ns $end\n$scope module t $end"
    for (name in code) { print "$var wire 1 " code[name] " " name " $end"; change(0, name, 1) }
    print "$upscope $end\n$enddefinitions $end"
    for (t = 40; t < end - 40; t += 40 + 20 * (noise() % 3)) {
      fall = t + noise() % 3; change(fall, "RDATA", 0); change(fall + 4, "RDATA", 1)
    }
    change(20000, "INDEX", 0); change(50000, "INDEX", 1)
    for (t = 1003; t < end; t += 30000) { change(t, "STEP", 0); change(t + 40, "STEP", 1) }
    for (t = 0; t <= end; t++) if (t in at) printf "#%d\n%s", t, at[t]
    print "#" end
  }' >"$work/in.vcd"
sort -k1n -k2 "$work/truth" -o "$work/truth"

if ! "$whichend" import "$work/in.vcd" -o "$work/mid.wec" >"$work/log" 2>&1 ||
  ! "$whichend" export "$work/mid.wec" -o "$work/out.vcd" >>"$work/log" 2>&1; then
  cat "$work/log"
  echo "whichend did not make the export"
  exit 1
fi

# edges FILE: a VCD of one-bit wires as "TICK LINE LEVEL", changes only.
edges() {
  awk '{ for (i = 1; i <= NF; i++) {
           w = $i
           if (w == "$var") { name[$(i + 3)] = $(i + 4); i += 5 }
           else if (w == "$comment" || w == "$date" || w == "$version") skip = 1
           else if (w == "$end") skip = 0
           else if (skip) continue
           else if (w ~ /^#[0-9]+$/) t = substr(w, 2)
           else if (w ~ /^[01xz]./ && (substr(w, 2) in name)) {
             n = name[substr(w, 2)]; v = substr(w, 1, 1)
             if (v != last[n]) print t, n, v
             last[n] = v
           } } }' "$1" | sort -k1n -k2
}

# same_edges FILE WHO: the file tells the truth, and in the same unit.
same_edges() {
  tr -s ' \t\n' '   ' <"$1" | grep -Eq '\$timescale +100 ?ns +\$end' || {
    echo "$2: another timescale"
    exit 1
  }
  edges "$1" >"$work/got"
  [ "$(wc -l <"$work/truth")" -gt 500 ] || { echo "too small a sample"; exit 1; }
  diff "$work/truth" "$work/got" >"$work/diff" || {
    head -n 20 "$work/diff"
    echo "$2: the edges differ"
    exit 1
  }
  echo "$2: $(wc -l <"$work/got") edges, all the same"
}

#!/bin/sh
# make_samples.sh WHICHEND [--check]: makes every folder of flux-samples/ anew with the simulator.
#
# Each holds a case (case.ini and captures), sample.ini (what is known of it: all of it is invented) and
# expected.json (what the program must say of it). The bytes depend on this table alone; --check makes
# them in a scratch folder and compares.
set -eu
whichend=$1
top=$(cd "$(dirname "$0")/../.." && pwd)
out=$top/flux-samples
if [ "${2:-}" = --check ]; then
  out=$(mktemp -d)
  trap 'rm -rf "$out"' EXIT
fi

# sample NAME END GRADE FAULT SEED [option...]: FAULT "-" is a sound bench.
sample() {
  name=$1 end=$2 grade=$3 fault=$4 seed=$5
  shift 5
  folder=$out/$name
  rm -rf "$folder"
  [ "$fault" = - ] && say=none || say=$fault
  "$whichend" rehearse --fault "$say" --seed "$seed" "$@" -o "$folder" >"$out/.log" 2>&1 || {
    cat "$out/.log" >&2
    exit 1
  }
  rm -f "$out/.log"
  cat >"$folder/sample.ini" <<INI
; An invented case of an invented workshop, the Lantern Street bench, made by the simulator.
[sample]
origin = invented, made by the simulator
fault = $say
seed = $seed
command = whichend rehearse --fault $say --seed $seed $* -o FOLDER
INI
  # the bus does not tell a chip's output from its driver: of the machine side the end is enough
  if [ "$grade" != decided ] || [ "$end" = none ] || [ "$end" = controller ]; then
    printf '{"end": "%s", "grade": "%s"}\n' "$end" "$grade" >"$folder/expected.json"
  else
    printf '{"end": "%s", "grade": "%s", "fault": "%s"}\n' "$end" "$grade" "$say" >"$folder/expected.json"
  fi
}

dd="--machine controller-wd177x --drive drive-35-dd --cable ribbon-34-straight"
timed="--machine controller-upd765 --drive drive-525-dd-80 --cable ribbon-34-straight"
twisted="--machine controller-82077 --drive drive-35-hd --cable ribbon-34-twisted"

# shellcheck disable=SC2086  # the words of the benches are options
{
  sample heron-sound none decided - 4 $dd --asked read,write --flux-ms 40 --format wec
  sample heron-index-conductor cable decided cable.INDEX.open 2 $dd --asked read --flux-ms 10
  sample heron-read-conductor cable decided cable.RDATA.open 5 $dd --asked read --flux-ms 250 --format wec
  # one group of evidence against a machine that works: the contract's gates leave it open
  sample heron-index-lead undecided undecided setup.lead.INDEX.open 3 $dd --asked seek --flux-ms 10
  sample heron-upper-head drive decided drive.head1.dead 6 $dd --asked read --flux-ms 120 --format wec
  sample heron-other-density disk decided disk.density.wrong 7 $dd --asked read --flux-ms 120 --format wec
  sample tern-track-zero cable decided cable.TRK00.open 3 $timed --asked read --flux-ms 10
  sample tern-step-driver controller decided controller.driver.STEP.dead 8 $timed --asked read --flux-ms 10
  sample tern-slow-spindle drive decided drive.speed.slow 9 $timed --asked read --flux-ms 200 --format wec
  sample tern-other-tracks setup decided setup.track-density 5 $timed --asked read --flux-ms 60 --format wec
  sample curlew-twist cable decided cable.twist.missing 3 $twisted --asked read --flux-ms 10
  sample curlew-deaf-drive undecided undecided drive.logic.dead 4 $twisted --asked read --flux-ms 10 --taps machine-end
}

if [ "${2:-}" = --check ]; then
  diff -r "$out" "$top/flux-samples"
fi

#!/bin/sh
# kills.sh WHICHEND COUNT [SEED]: so many archives over the simulated adapter, each cut short once or more at random
# moments (killed, stopped, unplugged, no room left), gone on with, and in the end equal to what was on the disk.
set -u
whichend=${1:?the program} count=${2:?how many} seed=${3:-1}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
trap 'exit 143' INT TERM
cd "$work" || exit 1
killed=0 stopped=0 unplugged=0 full=0 early=0 bad=0
last=5 # cylinder

# Numbers that are the same on every run; the moments they lead to are not.
random() { # BELOW
  seed=$(((seed * 1103515245 + 12345) % 2147483648))
  random=$((seed / 65536 % $1))
}

awk 'BEGIN { for (i = 0; i < 20000; i++) printf "line %d of what is to be saved, %d\n", i, (i * 7919) % 10007 }' |
  head -c 737280 >whole
head -c $(((last + 1) * 18 * 512)) whole >truth

# become_archive FAULT OPTION...: in place of this shell, so that who kills it kills the program
become_archive() {
  fault=$1
  shift
  exec "$whichend" archive --adapter "sim:bench.disk.protected$fault" --disk-out --image whole --cylinders 0-$last \
    --affirm heads-cleaned --affirm scratch-alike --affirm no-ring --affirm disk-looked-at -o out "$@" \
    >said 2>told
}
archive() {
  (become_archive "$@")
}

# wrong TEXT: this archive did not come out as it should.
wrong() {
  echo "archive $n: $*"
  cat told
  bad=$((bad + 1))
}

# end_by SIGNAL: begin an archive and end it a little later; its status in $status.
end_by() {
  become_archive "" --resume &
  child=$!
  random 1500
  sleep "$((random / 1000)).$(printf %03d $((random % 1000)))"
  kill -"$1" $child 2>/dev/null
  status=0
  wait $child 2>/dev/null || status=$?
}

cut_short() {
  random 4
  case $random in
    0)
      end_by KILL
      [ $status -gt 130 ] && killed=$((killed + 1)) || early=$((early + 1))
      ;;
    3) # asked to stop: what was read is written out
      end_by TERM
      case $status in
        130)
          stopped=$((stopped + 1))
          [ ! -e out/disk.part ] || wrong "stopped, and the journal is still there"
          ;;
        0) early=$((early + 1)) ;;
        143) early=$((early + 1)) ;; # before it listened to signals
        *) wrong "stopped: status $status" ;;
      esac
      ;;
    1)
      random 1000
      archive ",adapter.unplugged.later" --resume --seed $((random + 1))
      case $? in
        69) unplugged=$((unplugged + 1)) ;;
        0) early=$((early + 1)) ;;
        *) wrong "unplugged, and status is not 69" ;;
      esac
      ;;
    2)
      random 1500
      (
        trap '' XFSZ
        ulimit -f $((random + 1)) # blocks of 512 bytes
        become_archive "" --resume
      )
      case $? in
        73 | 74) full=$((full + 1)) ;;
        0) early=$((early + 1)) ;;
        *) wrong "no room, and status is neither 73 nor 74" ;;
      esac
      ;;
  esac
}

n=0
while [ $n -lt "$count" ]; do
  n=$((n + 1))
  rm -rf out
  random 3
  cuts=$((random + 1))
  while [ $cuts -gt 0 ]; do
    cut_short
    cuts=$((cuts - 1))
  done
  archive "" --resume || wrong "the last run: status $?"
  cmp truth out/disk.img || wrong "the image is not what was on the disk"
  [ ! -e out/disk.part ] || wrong "the journal is still there"
done
echo "$n archives: killed $killed times, stopped $stopped, unplugged $unplugged, no room $full, done before the cut $early;" \
  "$((n - bad)) equal to the disk"
[ $bad -eq 0 ]

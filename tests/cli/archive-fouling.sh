# A disk that leaves its coating on the heads: the reference track reads worse, and nothing more is read.
all="--affirm heads-cleaned --affirm scratch-alike --affirm no-ring --affirm disk-looked-at"
"$WHICHEND" archive --adapter sim:bench.disk.protected,bench.disk.sheds --disk-out $all --cylinders 0-39 -o out >said
echo "status $?"
sed -n '1p;/not good/,/there/p' said
grep -o 'stopped: track 0/0 reads worse than at first' said
"$WHICHEND" archive --adapter sim:bench.disk.protected --disk-out $all --cylinders 0-11 -o out --resume | sed -n '1,2p;/^from/,/^$/p'
ls out

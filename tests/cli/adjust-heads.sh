set -- --disk-out --mark-scribed --disk-name crane --disk-name heron --disk-name stork
"$WHICHEND" adjust heads "$@" --adapter sim:bench.disk.protected >out
echo "exit status $?"
sed 's:7[0-9]\.[0-9] +/- 0\.[0-9]:MARGIN:g' out # it moves with every change of timing
"$WHICHEND" adjust heads "$@" --adapter sim:none --json # not protected: not read
echo "exit status $?"

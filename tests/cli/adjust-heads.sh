set -- --disk-out --mark-scribed --disk-name crane --disk-name heron --disk-name stork
"$WHICHEND" adjust heads "$@" --adapter sim:bench.disk.protected
echo "exit status $?"
"$WHICHEND" adjust heads "$@" --adapter sim:none --json # not protected: not read
echo "exit status $?"

# No room in the middle of a track, and again while going on: told, and nothing of what was read is lost.
trap '' XFSZ
head -c 737280 /dev/zero >sectors
archive() {
  "$WHICHEND" archive --quiet --adapter sim:bench.disk.protected --disk-out --image sectors --cylinders 0-5 \
    --affirm heads-cleaned --affirm scratch-alike --affirm no-ring --affirm disk-looked-at -o out --resume >/dev/null 2>told
}
for blocks in 60 40 90; do
  (ulimit -f $blocks && archive)
  echo "status $?"
done
archive
echo "status $?"
head -c 55296 sectors | cmp - out/disk.img && echo "the image is whole"

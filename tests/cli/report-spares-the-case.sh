# with --replace too, the files that a page is about are never overwritten
cp -r "$DATA/../../../flux-samples/heron-index-conductor" case
ln case/machine-end.vcd.gz linked
for out in case/case.ini case/machine-end.vcd.gz linked; do
  "$WHICHEND" report --replace case -o "$out"; echo "status $?"
done
diff -r case "$DATA/../../../flux-samples/heron-index-conductor" && echo untouched

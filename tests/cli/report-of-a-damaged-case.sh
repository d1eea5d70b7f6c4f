# a case with an error gives no page at all
cp -r "$DATA/../../../flux-samples/heron-index-conductor" case
echo 'not a capture' >case/drive-end.vcd.gz
"$WHICHEND" report case -o page.html; echo "status $?"
ls

# a page is written beside the case, never over one that is there, unless told to
cp -r "$DATA/../../../flux-samples/heron-index-conductor" case
"$WHICHEND" report case | sed 's/([0-9,]* bytes)/(N bytes)/; s/[0-9.]* %/N %/'
head -c 15 case/report.html; echo
echo mine >case/report.html
"$WHICHEND" report case; echo "status $?"
cat case/report.html
"$WHICHEND" report --replace case >/dev/null; echo "status $?"
grep -c '<h1>' case/report.html
ls case

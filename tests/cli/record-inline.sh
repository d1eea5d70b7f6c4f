# Edges by measure are those that record counted; the same seed gives the same bytes.
"$WHICHEND" record --adapter sim:none --disk-out --seconds 2 -o one.wec >said || exit
sed 's/[0-9,]* edges,/N edges,/' said
"$WHICHEND" record --adapter sim:none --disk-out --seconds 2 --role inline -o two.wec >/dev/null || exit
cmp one.wec two.wec && echo same
"$WHICHEND" measure one.wec | sed -n 's/.* s, \([0-9,]* edges\), tick.*/\1/p' >measured
grep -c "$(cat measured)" said
"$WHICHEND" record --adapter sim:none --disk-out --seconds 1 --tap drive-end -o three.wec | sed 's/[0-9,]* edges,/N edges,/'

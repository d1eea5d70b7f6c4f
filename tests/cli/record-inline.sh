# Edges by measure are those that record counted; the same seed gives the same bytes.
"$WHICHEND" record --adapter sim:none --disk-out --seconds 2 -o one.wec || exit
"$WHICHEND" record --adapter sim:none --disk-out --seconds 2 --role inline -o two.wec >/dev/null || exit
cmp one.wec two.wec && echo same
"$WHICHEND" measure one.wec | grep 'edges, tick'
"$WHICHEND" record --adapter sim:none --disk-out --seconds 1 --tap drive-end -o three.wec

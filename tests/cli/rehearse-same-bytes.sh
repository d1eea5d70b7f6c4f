for folder in one two; do
  "$WHICHEND" rehearse --fault cable.INDEX.open --seed 5 --flux-ms 20 -o $folder || exit
done
diff -r one two && echo same
"$WHICHEND" rehearse --fault cable.INDEX.open --seed 6 --flux-ms 20 -o three || exit
diff -rq one three >/dev/null || echo differs

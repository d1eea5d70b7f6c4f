# A locale that writes 0,5 changes nothing in what is read or written.
found=$(locale -a 2>/dev/null | grep -iE '^(de|fr|nl|sv|pl)_' | head -n 1)
if [ -z "$found" ]; then
  localedef -i de_DE -f UTF-8 ./comma.UTF-8 >/dev/null 2>&1 || {
    echo "no locale with a decimal comma can be had"
    exit 77
  }
  LOCPATH=$(pwd) && export LOCPATH
  found=comma.UTF-8
fi
[ "$(LC_ALL=$found locale decimal_point)" = "," ] || { echo "no decimal comma in $found"; exit 77; }
cp "$DATA/index.vcd" .
"$WHICHEND" measure --json index.vcd >plain.json || exit 1
LC_ALL=$found "$WHICHEND" measure --json index.vcd >comma.json || exit 1
cmp plain.json comma.json && echo same

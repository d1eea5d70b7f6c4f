echo "a letter to nobody" >letter.txt
"$WHICHEND" measure --json letter.txt

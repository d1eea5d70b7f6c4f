"$WHICHEND" selfcheck --list | sed -n "1,/rehearse/p"
"$WHICHEND" adjust --list --json | head -8

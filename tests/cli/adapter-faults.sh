"$WHICHEND" selfcheck --list >list
sed -n "1,/rehearse/p" list
"$WHICHEND" adjust --list --json >list
sed -n 1,8p list

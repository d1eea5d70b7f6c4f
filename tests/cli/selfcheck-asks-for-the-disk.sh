"$WHICHEND" selfcheck --adapter sim:none

"$WHICHEND" selfcheck --disk-out --adapter sim:none --role inline

"$WHICHEND" case --help

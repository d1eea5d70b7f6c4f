"$WHICHEND" case questions

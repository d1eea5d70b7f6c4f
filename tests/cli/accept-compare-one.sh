"$WHICHEND" accept --compare one.json

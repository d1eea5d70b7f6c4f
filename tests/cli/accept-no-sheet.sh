echo "{}" >a.json
"$WHICHEND" accept --compare a.json a.json

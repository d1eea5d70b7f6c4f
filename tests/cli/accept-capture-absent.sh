"$WHICHEND" accept --drive drive-35-dd capture.wec

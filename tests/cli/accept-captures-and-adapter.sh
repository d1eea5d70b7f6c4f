"$WHICHEND" accept --drive drive-35-dd --adapter sim:none --disk-out capture.wec

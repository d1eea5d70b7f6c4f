# Three disks, each once, and a scribed mark: before anything is opened.
"$WHICHEND" adjust heads --disk-out --adapter sim:none --mark-scribed --disk-name a --disk-name b
"$WHICHEND" adjust heads --disk-out --adapter sim:none --mark-scribed --disk-name a --disk-name b --disk-name a
"$WHICHEND" adjust heads --disk-out --adapter sim:none --disk-name a --disk-name b --disk-name c

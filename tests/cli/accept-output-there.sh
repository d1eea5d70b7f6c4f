echo kept >sheet.json
"$WHICHEND" accept --drive drive-525-dd-80 "$DATA/../../../flux-samples/tern-slow-spindle/machine-end.wec" -o sheet.json
status=$?
cat sheet.json
exit $status

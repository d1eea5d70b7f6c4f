# a capture of a slow spindle, its sheet saved, read back and compared with itself
capture=$DATA/../../../flux-samples/tern-slow-spindle/machine-end.wec
"$WHICHEND" accept --drive drive-525-dd-80 "$capture" --serial T80-0417 -o sheet.json >/dev/null
echo "status $?"
"$WHICHEND" accept --compare sheet.json sheet.json
echo "status $?"
"$WHICHEND" accept --drive drive-525-dd-80 "$capture" --serial T80-0417 --json >again.json
sed 's/"source": "[^"]*machine-end.wec"/"source": ""/' sheet.json >a
sed 's/"source": "[^"]*machine-end.wec"/"source": ""/' again.json >b
cmp a b && echo "as printed"

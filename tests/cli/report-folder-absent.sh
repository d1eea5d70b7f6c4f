# no page where it cannot be made, and nothing on standard output
"$WHICHEND" report --json "$DATA/../../../flux-samples/heron-index-conductor" -o absent/page.html

# Escape codes never reach what is no terminal.
cp "$DATA/index.vcd" .
TERM=xterm "$WHICHEND" measure index.vcd | tr -dc '\033' | wc -c

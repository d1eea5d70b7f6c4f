# At a terminal both questions are asked, and yes goes on. (tests/usb has the same with an adapter whose
# watchdog runs meanwhile.)
command -v script >/dev/null || { echo "no program script (Debian package bsdutils)"; exit 77; }
{ sleep 0.5; echo yes; sleep 1; echo yes; sleep 1; } |
  script -qec "$WHICHEND record --adapter sim:none --role as-machine --cylinders 0 --turns 1 -o one.wec" \
    /dev/null >said
echo "status $?"
tr -d '\r' <said | grep -o -e 'No disk in any drive?' -e 'Disk in, lever closed?' -e 'pull-ups  *on' -e 'tracks .*'

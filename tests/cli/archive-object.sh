"$WHICHEND" record --adapter sim:none --disk-out --role as-machine --cylinders 0 --turns 2 -o a.wec >/dev/null
printf '[object]\naccession = 2031-7\nlabel = Letters, spring\n' >object.ini
"$WHICHEND" archive a.wec -o out --object object.ini --json | grep -A3 '"object"'
printf '[object]\nshelf = 3\n' >object.ini
"$WHICHEND" archive a.wec -o other --object object.ini
echo "status $?"
ls
